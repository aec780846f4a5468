package signal

import (
	"math"
	"slices"
	"sort"

	"witnessmark/tables/bounded"
	"witnessmark/tables/definition"
)

// pointwise converts an interpolated raw value by pairs, as a controller does.
type pointwise struct {
	raw   *Function
	conv  *definition.Points
	whole bool // raw values are whole numbers
}

// SamePoints says whether two conversions by pairs are one; nil is none.
func SamePoints(a, b *definition.Points) bool {
	if a == nil || b == nil {
		return a == b
	}
	outside := a.Outside == b.Outside || a.Outside != nil && b.Outside != nil && *a.Outside == *b.Outside
	return outside && a.Step == b.Step && slices.Equal(a.Raw, b.Raw) && slices.Equal(a.Physical, b.Physical)
}

// Through visits the values that a conversion by pairs takes from one raw value to another that is no less, in order: between
// two of them it runs straight, or steps.
func Through(p *definition.Points, from, to float64, visit func(v float64)) {
	visit(p.Apply(from))
	for k := sort.SearchFloat64s(p.Raw, from); k < len(p.Raw) && p.Raw[k] <= to; k++ {
		visit(p.Physical[k])
	}
	visit(p.Apply(to))
}

func (o *pointwise) at(c *Box, p *Point) float64 {
	raw := o.raw.at(c, p)
	if raw != raw {
		return raw
	}
	return o.conv.Apply(raw)
}

func (o *pointwise) over(c, b *Box, out *bounded.Bounds) {
	raw := o.raw.over(c, b)
	*out = *raw
	if raw.Undefined {
		out.Interval, out.Smooth, out.Multilinear = bounded.Whole(), false, false
		return
	}
	lo, hi := math.Inf(1), math.Inf(-1)
	Through(o.conv, raw.Lo, raw.Hi, func(v float64) { lo, hi = min(lo, v), max(hi, v) })
	if raw.Lo != raw.Hi {
		by := float64(0x1p-49 * o.most(raw.Lo, raw.Hi))
		lo, hi = lo-by, hi+by
	}
	out.Lo, out.Hi = lo, hi
	slope, straight, jumps := o.slopes(raw.Lo, raw.Hi)
	out.Smooth = raw.Smooth && !jumps
	out.Multilinear = raw.Multilinear && straight || raw.Inputs == 0
	for i := range o.raw.space.inputs {
		out.Slope[i] = times(raw.Slope[i], slope)
	}
}

// first is the number of the last pair at or below a raw value; -1 before the first.
func (o *pointwise) first(raw float64) int {
	return sort.Search(len(o.conv.Raw), func(i int) bool { return o.conv.Raw[i] > raw }) - 1
}

// most is the greatest amount of the pairs around a stretch.
func (o *pointwise) most(from, to float64) float64 {
	most := 0.0
	for k := max(o.first(from), 0); k < len(o.conv.Raw); k++ {
		most = max(most, math.Abs(o.conv.Physical[k]))
		if o.conv.Raw[k] > to {
			break
		}
	}
	return most
}

// slopes encloses the slopes from one raw value to another, and says whether it is one straight line and whether it steps.
func (o *pointwise) slopes(from, to float64) (slope bounded.Interval, straight, jumps bool) {
	p, end := o.conv, len(o.conv.Raw)-1
	first, last := o.first(from), o.first(to)
	for k := first + 1; k <= last; k++ {
		jumps = jumps || k > 0 && p.Step && p.Physical[k] != p.Physical[k-1] || k == 0 && p.Outside != nil && *p.Outside != p.Physical[0]
	}
	if to > p.Raw[end] && from <= p.Raw[end] {
		jumps = jumps || p.Outside != nil && *p.Outside != p.Physical[end]
	}
	if last > first && p.Raw[last] == to { // nothing beyond it is reached
		last--
	}
	slope = o.slope(first)
	for k := first + 1; k <= last; k++ {
		slope = slope.Hull(o.slope(k))
	}
	return slope, first == last && !jumps, jumps
}

// slope is that from pair k to the next one.
func (o *pointwise) slope(k int) bounded.Interval {
	p := o.conv
	if k < 0 || k+1 >= len(p.Raw) || p.Step {
		return bounded.Interval{}
	}
	rise := bounded.Exactly(p.Physical[k+1]).Sub(bounded.Exactly(p.Physical[k]))
	return rise.Div(bounded.Exactly(p.Raw[k+1]).Sub(bounded.Exactly(p.Raw[k])))
}

// rawStep is what one raw step makes between two raw values at most; 0 where it goes in steps of its own.
func (o *pointwise) rawStep(raw bounded.Interval) float64 {
	if !o.whole || o.conv.Step {
		return 0
	}
	slope, _, _ := o.slopes(math.Floor(raw.Lo), math.Ceil(raw.Hi))
	return max(-slope.Lo, slope.Hi)
}
