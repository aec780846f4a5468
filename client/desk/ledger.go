package desk

import (
	"fmt"
	"net/http"
	"slices"
	"strings"
	"time"

	"witnessmark/client"
)

type ledgerBody struct {
	Entries    []client.Event
	Found      int
	Kinds      []string
	Kind, Who  string
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

func (d *Desk) ledgerBody(r *http.Request) (ledgerBody, error) {
	q := r.URL.Query()
	b := ledgerBody{Kind: q.Get("kind"), Who: strings.TrimSpace(q.Get("who")), Checkpoint: d.client.Head().Checkpoint}
	_, _ = fmt.Sscan(q.Get("before"), &b.Before) // what is no number is no bound
	events, err := d.client.Events()
	slices.Reverse(events)
	for _, e := range events {
		if !slices.Contains(b.Kinds, e.Kind) {
			b.Kinds = append(b.Kinds, e.Kind)
		}
		if b.Kind != "" && e.Kind != b.Kind || b.Who != "" && !strings.Contains(strings.ToLower(e.Person), strings.ToLower(b.Who)) {
			continue
		}
		b.Found++
		if b.Before != 0 && e.Entry >= b.Before {
			continue
		}
		if len(b.Entries) == pageOf {
			b.Older = b.Entries[pageOf-1].Entry
			continue
		}
		b.Entries = append(b.Entries, e)
	}
	slices.Sort(b.Kinds)
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
