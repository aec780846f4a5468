package compare

import (
	"cmp"
	"slices"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/definition"
	"witnessmark/tables/surface"
)

// along is one axis of a changed table.
type along struct {
	name       string           // x, y, or what an axis beyond them measures
	base, cand *definition.Axis // base is nil where the table cannot be compared
	was, is    []float64        // breakpoints as stored
	moved      bool
	points     []int    // the candidate's breakpoints that moved
	pairs      [][2]int // indices that belong together, the base's first; nil where equal ones do
	only       []*calibrationv1.AlignedIndex
	message    *calibrationv1.ChangedAxis // of a report, shared by all tables that have the axis
}

// axisName is what findings call an axis by.
func axisName(t *definition.Table, k int) string {
	if k < 2 {
		return "xy"[k : k+1]
	}
	return cmp.Or(t.Axes[k].Quantity, t.Axes[k].ID)
}

// pointsOf is the breakpoints along an axis as stored.
func pointsOf(d *surface.Decoded, k int) []float64 {
	switch k {
	case 0:
		return d.X
	case 1:
		return d.Y
	}
	return d.Beyond()[k-2]
}

// differ is an axis under one definition: breakpoints differ where their raw bits do. Where another number of
// them is used, they pair as sequences.
func (a *along) differ(was, is []uint64) {
	if len(a.was) == len(a.is) {
		for i := range was {
			if was[i] != is[i] {
				a.points = append(a.points, i)
			}
		}
		a.moved = len(a.points) > 0
		return
	}
	a.moved = true
	a.align()
	for i := range a.is {
		if !slices.ContainsFunc(a.pairs, func(p [2]int) bool { return p[1] == i && was[p[0]] == is[i] }) {
			a.points = append(a.points, i)
		}
	}
}

// changedAxis is the axis as reports say it: the candidate, and where its breakpoints were. Of two definitions those that are
// alike to their raw steps are one.
func (a *along) changedAxis(one bool) *calibrationv1.ChangedAxis {
	out := &calibrationv1.ChangedAxis{Count: uint32(len(a.is))}
	if a.cand.Labels != nil {
		out.Labels = a.cand.Labels[:len(a.is)]
		return out
	}
	out.Points = a.is
	if !a.moved {
		return out
	}
	for _, p := range a.both() {
		if was, is := p[0], p[1]; !same(a.was[was], a.is[is]) && (one || !a.alike(was, is)) {
			out.Moved, out.Before = append(out.Moved, uint32(is)), append(out.Before, a.was[was])
		}
	}
	return out
}

// pairUp is an axis under two definitions. It pairs breakpoints by index where their count is the same, else as sequences; slices, and what has a name, by their places.
func (a *along) pairUp(slices bool) {
	for i := range a.is {
		if i >= len(a.was) || !a.alike(i, i) {
			a.points = append(a.points, i)
		}
	}
	a.moved = len(a.points) > 0 || len(a.was) != len(a.is)
	if len(a.was) != len(a.is) || a.moved && (slices || a.cand.Labels != nil) {
		a.align()
	}
}

// alike says whether a breakpoint of the base and one of the candidate are one.
func (a *along) alike(was, is int) bool {
	if a.cand.Labels != nil {
		return a.base.Labels[was] == a.cand.Labels[is]
	}
	return pointsAlike(a.base, a.cand, a.was[was], a.is[is])
}

// pointOf is a breakpoint on one side only, as text.
func (a *along) pointOf(o *calibrationv1.AlignedIndex) string {
	axis := a.cand
	if o.Side == "base" {
		axis = a.base
	}
	return pointText(axis, o.Point)
}

// both is the pairs of an axis.
func (a *along) both() [][2]int {
	if a.pairs != nil {
		return a.pairs
	}
	out := make([][2]int, len(a.is))
	for i := range out {
		out[i] = [2]int{i, i}
	}
	return out
}
