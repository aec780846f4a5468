package bounded

import "math"

// test evaluates a part's middle, if its corners do not decide, and the corners that can be the furthest beyond; all of
// them where which is the first matters, or which of them the base passes.
func (s *search) test(q *part) (failed bool) {
	s.place(q)
	if !q.corners {
		for i := range s.at {
			s.at[i] = s.box[i].Middle()
		}
		_, failed = s.note(q)
	}
	free, all := q.inputs&^(q.rise|q.fall), q.inputs
	beyond, fails := s.testCorners(q, free)
	failed = failed || fails
	if s.base.value != nil {
		all = s.wide() // the base, or what lies around, may differ where the candidate does not
	}
	if free != all && (failed && s.base.value != nil || q.corners && beyond >= s.closest.Beyond) {
		s.testCorners(q, all)
	}
	return failed
}

// wide are the inputs along which the scratch box has a width.
func (s *search) wide() (inputs uint8) {
	for i := range s.axes {
		if s.box[i].Lo < s.box[i].Hi {
			inputs |= 1 << i
		}
	}
	return inputs
}

// testCorners evaluates every corner along some inputs, the others where they push beyond the limit.
func (s *search) testCorners(q *part, along uint8) (beyond float64, failed bool) {
	beyond = math.Inf(-1)
	for corner := uint8(0); ; corner = (corner - along) & along { // every subset of along, counting upwards
		upper := q.rise&^along | corner
		for i := range s.at {
			s.at[i] = s.box[i].Lo
			if upper>>i&1 != 0 {
				s.at[i] = s.box[i].Hi
			}
		}
		b, f := s.note(q)
		beyond, failed = max(beyond, b), failed || f
		if corner == along {
			return beyond, failed
		}
	}
}

// note evaluates a point and keeps what it is the worst of.
func (s *search) note(q *part) (beyond float64, failed bool) {
	pt := &s.point
	pt.Inputs = s.at
	pt.Value, pt.Limit, pt.Beyond = s.far.at(&s.cell, &s.at)
	number := s.cells[q.slot].number
	if !s.noted || s.worse(pt, number, &s.closest) {
		pt.Cell = s.index(number)
		s.closest, s.noted = *pt, true
	}
	if !s.fails(q, pt) {
		return pt.Beyond, false
	}
	o := s.origin(q, pt)
	f, c := &s.found[o], &s.cells[q.slot]
	if f.Cells == 0 || s.worse(pt, number, &f.Worst) {
		pt.Cell = s.index(number)
		f.Worst = *pt
	}
	if !c.found[o] {
		c.found[o] = true
		f.Cells++
	}
	return pt.Beyond, true
}

// fails tells whether a point lies beyond its limit by more than counts in a part.
func (s *search) fails(q *part, pt *Point) bool {
	return pt.Beyond > q.half && (!q.corners || math.IsInf(pt.Beyond, 1) || pt.Beyond > s.allowed(&s.cell, pt))
}

// worse tells whether a point of a cell lies further beyond than another, or as far and before it: the last input
// outermost, then by cell.
func (s *search) worse(a *Point, number int, b *Point) bool {
	if a.Beyond != b.Beyond {
		return a.Beyond > b.Beyond
	}
	for i := MaxInputs - 1; i >= 0; i-- {
		if a.Inputs[i] != b.Inputs[i] {
			return a.Inputs[i] < b.Inputs[i]
		}
	}
	return number < s.number(&b.Cell)
}
