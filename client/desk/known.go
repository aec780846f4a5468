package desk

import (
	"context"
	"strings"

	"witnessmark/client"
	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/tables/definition"
)

// knownTable is a table that a definition knows by another name, and what people said of it.
type knownTable struct {
	*definition.Table
	Hits []hit
}

// mostKnown is how many tables a search by other names shows.
const mostKnown = 20

// known are the tables of a definition's newest revision whose name where it came from has the text in it, and where each is
// named in jobs; more counts those that are left out.
func (d *Desk) known(ctx context.Context, name, text string) (found []knownTable, more int, err error) {
	lay, err := d.client.JobLayout(ctx, &recordv1.Job{Definition: &recordv1.Revision{Name: name}})
	if err != nil {
		return nil, 0, err
	}
	for _, t := range lay.Tables {
		if !strings.Contains(strings.ToLower(t.KnownAs), strings.ToLower(text)) {
			continue
		}
		if len(found) == mostKnown {
			more++
			continue
		}
		k := knownTable{Table: t}
		if k.Hits, _, err = d.hits(t.ID, func(h client.Hit) bool { return h.What == "table" && h.Text == t.ID }); err != nil {
			return nil, 0, err
		}
		found = append(found, k)
	}
	return found, more, nil
}

// hits are the texts in which something is found.
func (d *Desk) hits(text string, want func(client.Hit) bool) (out []hit, more int, err error) {
	found, more, err := d.client.Search(text, mostHits)
	for _, h := range found {
		if want(h) {
			out = append(out, hit{h, hrefOf(h.Of)})
		}
	}
	return out, more, err
}
