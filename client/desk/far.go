package desk

import (
	"context"
	"fmt"
	"net/url"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/store/record"
)

// far is how far what is in a car is from what it came with.
type far struct {
	Tables []farTable
	More   int    // tables that are left out
	Why    string // why it cannot be told
}

type farTable struct{ ID, Href, Cells string }

// mostFar keeps a card readable.
const mostFar = 12

// farOf is nil where the car is as found, or nobody knows what is in it.
func (d *Desk) farOf(ctx context.Context, in *recordv1.InCar) *far {
	rev, err := d.client.FromAsFound(ctx, in)
	switch {
	case err != nil:
		return &far{Why: d.plain(err)}
	case rev == nil:
		return nil
	}
	name := record.Name{Job: in.GetJob(), Part: record.ASubmission, N: in.GetSubmission()}
	f := &far{}
	for _, t := range rev.Report.GetTables() {
		if len(f.Tables) == mostFar {
			f.More++
			continue
		}
		one := farTable{ID: t.GetId(), Href: fmt.Sprintf("/sheet/%s/table/%s", name, url.PathEscape(t.GetId())), Cells: fmt.Sprintf("%d of %d cells", t.GetChanged(), t.GetCells())}
		if first := t.GetFromAsFound(); first != nil && first.GetChanged() != t.GetChanged() {
			one.Cells += fmt.Sprintf(", and %d since the car first came", first.GetChanged())
		}
		f.Tables = append(f.Tables, one)
	}
	return f
}
