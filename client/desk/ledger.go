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
	Older      uint64 // where the next page begins; 0 where there is none
	Newest     string // the address of the first page, from any other
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

// pageOf is how many entries stand on one page.
const pageOf = 100

func (d *Desk) ledgerBody(r *http.Request) (b ledgerBody, err error) {
	q := r.URL.Query()
	b = ledgerBody{Kinds: record.Kinds(), Kind: q.Get("kind"), Who: strings.TrimSpace(q.Get("who")), About: strings.TrimSpace(q.Get("about")), Checkpoint: d.client.Head().Checkpoint}
	f := client.EventFilter{Kind: b.Kind, Who: b.Who, About: b.About, Before: uint64(numberIn(r, "before"))}
	if f.Before > 0 {
		b.Newest = turned(r, "before", 0)
	}
	b.Entries, b.Older, err = d.client.FindEvents(f, pageOf)
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
