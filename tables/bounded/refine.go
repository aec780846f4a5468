package bounded

import "math"

// refine looks for the worst of each origin, and for the closest of all, until it is within half a step of what no
// point surpasses.
func (s *search) refine() {
	s.later.order()
	for len(s.later) > 0 {
		q := s.later.pop()
		if !s.wanted(&q) {
			s.putAside(&q)
			continue
		}
		s.test(&q)
		if q.corners {
			continue
		}
		often := uint8(deciding)
		if q.smooth {
			often = refining
		}
		a, b, ok := s.split(&q, often)
		if !ok {
			s.putAside(&q)
			continue
		}
		s.later.push(a)
		s.later.push(b)
	}
	for i := range s.stuck {
		s.putAside(&s.stuck[i])
	}
}

// wanted tells whether a part may hold a point that lies further beyond than any that is known, by more than half a step
// unless its corners decide.
func (s *search) wanted(q *part) bool {
	if !s.noted || q.upper > s.closest.Beyond+q.half || q.corners && q.upper == s.closest.Beyond {
		return true
	}
	for o := range s.found {
		worst := q.half
		if s.found[o].Cells > 0 {
			worst = s.found[o].Worst.Beyond
		}
		if q.upper > worst+q.half && s.reach(q, Origin(o)) > worst+q.half {
			return true
		}
	}
	return false
}

// putAside keeps the bounds of a part that is looked at no closer.
func (s *search) putAside(q *part) {
	s.bound = max(s.bound, q.upper)
	for o := range s.found {
		if q.upper > q.half && q.upper > s.bounds[o] && !(s.found[o].Cells > 0 && q.upper <= s.found[o].Worst.Beyond) {
			s.bounds[o] = max(s.bounds[o], s.reach(q, Origin(o)))
		}
	}
}

// reach is how far beyond the points of an origin may lie in a part: less than everything where there are none.
func (s *search) reach(q *part, o Origin) float64 {
	none := math.Inf(-1)
	if s.base.value == nil {
		if o == Introduced {
			return q.upper
		}
		return none
	}
	s.askBase(q)
	further := s.cells[q.slot].further
	switch {
	case o == Introduced && !q.passes, o != Introduced && !q.fails:
		return none
	case o == Introduced && further == no: // the base all but fails, and the candidate lies as far out but for half a step
		return min(q.upper, 2*q.half)
	case o == Worsened && further == no, o == Inherited && further == yes:
		return none
	}
	return q.upper
}

// askBase tells whether the base may pass in a part, and whether it may fail.
func (s *search) askBase(q *part) {
	if q.known {
		return
	}
	q.known, q.passes, q.fails = true, true, true
	if q.corners || s.boxes >= s.budget {
		return // corners are evaluated
	}
	s.boxes++
	s.place(q)
	b := s.base.over(&s.cell, &s.box)
	q.inputs |= b.Inputs & s.wide() // to be split along
	hi, _, _ := s.base.highest(&b, &s.cell, &s.box, &s.at)
	q.fails = hi > q.half
	if b.Undefined {
		return
	}
	inside := distance{s.base.value, s.base.limit, !s.base.ceiling, nil}
	b = b.neg()
	lo, _, _ := inside.highest(&b, &s.cell, &s.box, &s.at)
	q.passes = -lo <= q.half
}
