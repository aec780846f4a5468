package limits

import (
	"slices"

	"witnessmark/tables/bounded"
	"witnessmark/tables/definition"
	"witnessmark/tables/signal"
)

// tablesMoved knows that the signal is the base's in cells where every table that it depends on is.
func (o *sounding) tablesMoved() moved {
	if o.base == nil || o.in.CandidateLayout != nil {
		return nil
	}
	now, was := o.set(ofCandidate).In(o.space), o.set(ofBase).In(o.space)
	type pair struct {
		now, was *signal.Function
		along    [2]int
	}
	var pairs []pair
	for _, t := range o.sig.Tables {
		if !o.changed[t.ID] {
			continue
		}
		p := pair{along: [2]int{-1, -1}}
		for i, feed := range []*definition.Feed{t.XFeed, t.YFeed} {
			if axesOf(t)[i] == nil {
				continue
			}
			if feed == nil || feed.Input == nil {
				return nil // where it is looked up may have moved
			}
			p.along[i] = slices.IndexFunc(o.space.Inputs(), func(in signal.Input) bool { return in.Quantity == feed.Input.Quantity })
		}
		var err, also error
		if p.now, err = now.Table(t.ID); err == nil {
			p.was, also = was.Table(t.ID)
		}
		if err != nil || also != nil || t.Cells.Conv.Rational {
			return nil
		}
		pairs = append(pairs, p)
	}
	return func(cell *bounded.Box) (up, down, known bool) {
		for _, p := range pairs {
			if !sameAtCorners(cell, p.along, p.now, p.was) {
				return false, false, false
			}
		}
		return false, false, true
	}
}

func sameAtCorners(cell *bounded.Box, along [2]int, a, b *signal.Function) bool {
	var at signal.Point
	for i, c := range cell {
		at[i] = c.Lo
	}
	for _, x := range corners(cell, along[0]) {
		for _, y := range corners(cell, along[1]) {
			for k, v := range [2]station{x, y} {
				if along[k] >= 0 {
					at[along[k]] = v.v
				}
			}
			if p, q := a.At(cell, &at), b.At(cell, &at); p != q {
				return false
			}
		}
	}
	return true
}
