package bounded

import "math"

// closely is how many boxes of one cell are enclosed before the candidate is taken to lie further out in it.
const closely = 1000

// origin of a failing point of a part.
func (s *search) origin(q *part, pt *Point) Origin {
	if s.base.value == nil {
		return Introduced
	}
	before := &s.was
	before.Inputs = pt.Inputs
	before.Value, before.Limit, before.Beyond = s.base.at(&s.cell, &pt.Inputs)
	if !s.fails(q, before) {
		return Introduced
	}
	if grown := pt.Beyond - before.Beyond; grown > s.half(&s.box) && grown > s.allowed(&s.cell, pt) {
		s.cells[q.slot].further = yes // seen at once
	}
	if s.outgrownAround(q, pt, before) {
		return Worsened
	}
	return Inherited
}

// outgrownAround tells whether the candidate lies further out than the base somewhere in the cells that touch a point.
// A cell across a step does not: what it holds there is something else.
func (s *search) outgrownAround(q *part, pt, before *Point) bool {
	number := s.cells[q.slot].number
	if s.furtherIn(number) {
		return true
	}
	var low, high [MaxInputs]int
	index := s.index(number)
	for i, a := range s.axes {
		k := index[i]
		if k > 0 && a[k-1].Hi == pt.Inputs[i] {
			low[i] = -1
		}
		if k+1 < len(a) && a[k+1].Lo == pt.Inputs[i] {
			high[i] = 1
		}
	}
	for turn := low; ; {
		n := index
		for i := range s.axes {
			n[i] += turn[i]
		}
		if m := s.number(&n); m != number && s.furtherIn(m) && s.sameFrom(m, pt, before) {
			return true
		}
		i := 0
		for ; i < len(s.axes); i++ {
			if turn[i]++; turn[i] <= high[i] {
				break
			}
			turn[i] = low[i]
		}
		if i == len(s.axes) {
			return false
		}
	}
}

// sameFrom tells whether candidate and base, and their limits, are at a point what they are when looked at from another cell.
func (s *search) sameFrom(number int, pt, before *Point) bool {
	s.fill(number, &s.there)
	same := func(d *distance, here *Point) bool {
		value, limit, _ := d.at(&s.there, &pt.Inputs)
		allowed := s.p.Tolerance(here.Value, here.Limit)
		return near(value, here.Value, allowed) && near(limit, here.Limit, allowed)
	}
	return same(&s.far, pt) && same(&s.base, before)
}

func near(a, b, allowed float64) bool {
	return a == b || math.Abs(a-b) <= allowed || a != a && b != b
}

// furtherIn tells whether the candidate lies further out than the base somewhere in a cell. It remembers.
// A cell that the budget did not reach is taken to.
func (s *search) furtherIn(number int) bool {
	slot, enclosed, judged := s.find(number)
	if !enclosed {
		return judged
	}
	c := &s.cells[slot]
	if c.further == unasked {
		c.further = no
		s.fill(number, &s.there)
		if s.isFurtherOut(&s.there) {
			c.further = yes
		}
	}
	return c.further == yes
}

// isFurtherOut asks it of a cell, as a problem of its own: how much the candidate's distance grew, against nothing.
// What cannot be decided counts as grown.
func (s *search) isFurtherOut(cell *Box) bool {
	if s.p.NoFurther != nil && s.p.NoFurther(cell) {
		return false
	}
	left := min(s.budget-s.asked, closely)
	if left <= 0 {
		return true
	}
	axes := make([][]Interval, len(s.axes))
	for i := range axes {
		axes[i] = []Interval{cell[i]}
	}
	t := newSearch(&Problem{Cells: axes, Value: &growth{s.far, s.base}, Limit: Constant(0), Ceiling: true, Step: s.p.Step, Budget: left})
	t.allowed = func(cell *Box, at *Point) float64 {
		value, limit, _ := s.far.at(cell, &at.Inputs)
		return s.p.Tolerance(value, limit)
	}
	t.spread()
	t.decide()
	s.asked += t.boxes
	return t.found[Introduced].Cells > 0 || len(t.stuck) > 0
}
