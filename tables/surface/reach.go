package surface

import (
	"math"
	"sort"
)

// Place is where v lies along a rising axis; at a step it is at and above it.
func Place(axis []float64, v float64) Span { return above(axis, v) }

// PlaceFrom is where v lies along a rising axis as it is approached from below, or Place.
func PlaceFrom(axis []float64, v float64, below bool) Span {
	up := above(axis, v)
	if !below {
		return up
	}
	if first := sort.SearchFloat64s(axis, v); first < up.lo { // both are at or beside v, so both are v
		return Span{lo: first, hi: first}
	}
	return up
}

// PlaceBeside is where v lies as seen from inside, a point of the same stretch between neighbouring breakpoints that lies at
// around: v at the stretch's end is still in it.
func PlaceBeside(axis []float64, around Span, inside, v float64) Span {
	lo := around.lo
	if held := lo == around.hi && (lo == len(axis)-1 || axis[lo] != inside); held || v == axis[lo] && inside == v {
		return around
	}
	return Span{lo: lo, hi: lo + 1, t: min(max(part(axis[lo], axis[lo+1], v), 0), 1)}
}

// PlaceExactly is the breakpoint that v is, rounding apart; else no place.
func PlaceExactly(axis []float64, v float64) (Span, bool) {
	i := sort.SearchFloat64s(axis, v)
	for _, k := range []int{i - 1, i} {
		if k >= 0 && k < len(axis) && same(axis[k], v) {
			return Span{lo: k, hi: k}, true
		}
	}
	return Span{}, false
}

func same(a, b float64) bool { return math.Abs(a-b) <= 1e-9*max(math.Abs(a), math.Abs(b)) }

// Reach is a stretch of an axis.
type Reach struct {
	first, last Span
	held        bool // some of it lies beyond the axis, where the end value is held
	inside      bool // it is seen from inside a stretch, whose ends are no places by themselves
}

// Along is from lo to hi; at a step within or at hi both sides belong to it.
func Along(axis []float64, lo, hi float64) Reach {
	return Reach{first: above(axis, lo), last: above(axis, hi), held: lo < axis[0] || hi > axis[len(axis)-1]}
}

// Beside is from lo to hi, both placed beside the same point.
func Beside(axis []float64, around Span, inside, lo, hi float64) Reach {
	return Reach{first: PlaceBeside(axis, around, inside, lo), last: PlaceBeside(axis, around, inside, hi), inside: true}
}

// Points are the breakpoints from lo to hi, rounding apart; not any where there is none.
func Points(axis []float64, lo, hi float64) (r Reach, any bool) {
	from := sort.Search(len(axis), func(i int) bool { return axis[i] >= lo || same(axis[i], lo) })
	to := sort.Search(len(axis), func(i int) bool { return axis[i] > hi && !same(axis[i], hi) }) - 1
	if from > to {
		return Reach{}, false
	}
	return Reach{first: Span{lo: from, hi: from}, last: Span{lo: to, hi: to}}, true
}

// One says that the reach is a single point of the axis.
func (r *Reach) One() bool { return r.first == r.last && !r.held }

// stations is how many places decide what a surface does along the reach: its ends and the breakpoints within.
func (r *Reach) stations() int {
	if r.first == r.last {
		return 1
	}
	end := r.last.lo // the last breakpoint within
	if r.last.t == 0 {
		end--
	}
	return max(end-r.first.lo, 0) + 2
}

func (r *Reach) station(k, n int) Span {
	switch k {
	case 0:
		return r.first
	case n - 1:
		return r.last
	}
	return Span{lo: r.first.lo + k, hi: r.first.lo + k}
}

// segments are the stretches between breakpoints that the reach goes through: from the first, up to but not with the last.
func (r *Reach) segments() (first, last int) {
	if r.last.t > 0 {
		return r.first.lo, r.last.lo + 1
	}
	if r.first == r.last && r.first.hi > r.first.lo { // a point at the beginning of one
		return r.first.lo, r.first.lo + 1
	}
	return r.first.lo, r.last.lo
}
