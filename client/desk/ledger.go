package desk

import (
	"fmt"
	"net/http"
	"strings"
	"time"

	"witnessmark/client"
	"witnessmark/store/record"
)

type ledgerBody struct {
	Entries    []client.Event
	Kinds      []string
	Kind, Who  string
	About      string // a job, what is of it, a person or a file, or part of a plate
	Before     uint64 // entries below this one; 0 is all
	Older      uint64 // where the next page begins; 0 where there is none
	Checkpoint string
	Verified   string
}

func (d *Desk) ledger(w http.ResponseWriter, r *http.Request) error {
	p := d.base(r, "Ledger")
	b, err := d.ledgerBody(r)
	if err != nil {
		return err
	}
	d.show(w, p, http.StatusOK, "ledger", b)
	return nil
}

// looked is how many entries a page looks at, at most, for those that are asked for.
const looked = 5000

// pageOf is how many entries stand on one page.
const pageOf = 200

func (d *Desk) ledgerBody(r *http.Request) (ledgerBody, error) {
	q := r.URL.Query()
	b := ledgerBody{Kinds: record.Kinds(), Kind: q.Get("kind"), Who: strings.TrimSpace(q.Get("who")), About: strings.TrimSpace(q.Get("about")), Checkpoint: d.client.Head().Checkpoint}
	_, _ = fmt.Sscan(q.Get("before"), &b.Before) // what is no number is no bound
	n, who, about := 0, strings.ToLower(b.Who), strings.ToLower(b.About)
	of := func(e client.Event) bool { // 7 is the job and all that is of it, and not job 70
		return about == "" || strings.EqualFold(e.About, about) || strings.HasPrefix(strings.ToLower(e.About), about+".") ||
			strings.Contains(strings.ToLower(e.Plate), about)
	}
	err := d.client.Events(b.Before, func(e client.Event) bool {
		if (b.Kind == "" || e.Kind == b.Kind) && strings.Contains(strings.ToLower(e.Person), who) && of(e) {
			b.Entries = append(b.Entries, e)
		}
		b.Older = e.Entry
		n++
		return n < looked && len(b.Entries) < pageOf
	})
	return b, err
}

func (d *Desk) verifyLedger(w http.ResponseWriter, r *http.Request) error {
	start := time.Now()
	head, err := d.client.VerifyLedger(r.Context(), false)
	if err != nil {
		return err
	}
	took := time.Since(start).Round(time.Millisecond)
	p := d.base(r, "Ledger")
	b, err := d.ledgerBody(r)
	if err != nil {
		return err
	}
	b.Verified = fmt.Sprintf("Verified in %s: fetched the server's newest checkpoint and checked its signature with the server's key that the ledger names; "+
		"judged all %d entries from the genesis on by the rules, each with its signature; made their tree again, whose root is the checkpoint's, %s; "+
		"the first entry is the genesis that you logged in to, %s.", took, head.Size, head.Root, d.client.Fingerprint())
	d.show(w, p, http.StatusOK, "ledger", b)
	return nil
}
