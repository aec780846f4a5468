package surface

import "math"

// Lacks says whether some, or all, points of a stretch are interpolated from a cell that holds no number; scratch may be used
// again. The ends of a stretch that is seen from inside do not count.
func (s *Solid) Lacks(at []Reach, scratch *Piece) (some, all bool) {
	scratch.begin(len(at))
	scratch.cells(at, s.strides, func(cell int) { some = some || math.IsNaN(s.Values[cell]) })
	return some, some && s.lacksAll(at, len(at)-1, make([]Span, len(at)))
}

// lacksAll goes through what points along an axis and those before it can be interpolated from, along the others as chosen.
func (s *Solid) lacksAll(at []Reach, axis int, from []Span) bool {
	if axis < 0 {
		return s.lacksOne(from, len(from)-1, 0)
	}
	first, last := at[axis].supports()
	if first > last { // nothing but the stretch between two breakpoints
		from[axis] = Span{lo: at[axis].first.lo, hi: at[axis].last.hi}
		return s.lacksAll(at, axis-1, from)
	}
	for k := first; k <= last; k++ { // what lies between has a share of these
		from[axis] = Span{lo: k, hi: k}
		if !s.lacksAll(at, axis-1, from) {
			return false
		}
	}
	return true
}

// lacksOne says whether one of the cells between two places along each axis holds no number.
func (s *Solid) lacksOne(from []Span, axis, cell int) bool {
	if axis < 0 {
		return math.IsNaN(s.Values[cell])
	}
	for k := from[axis].lo; k <= from[axis].hi; k++ {
		if s.lacksOne(from, axis-1, cell+k*s.strides[axis]) {
			return true
		}
	}
	return false
}

// supports are the breakpoints that are places of the reach by themselves; none where the last comes before the first.
func (r *Reach) supports() (first, last int) {
	first, last = r.first.lo, r.last.lo
	if r.first.t > 0 {
		first++
	}
	if r.last.t == 1 {
		last++
	}
	if r.inside && r.first != r.last {
		return 1, 0
	}
	return first, last
}
