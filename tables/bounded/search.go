package bounded

import "math"

// budget is how many boxes are enclosed unless a problem says otherwise.
const budget = 200_000

// search is the state of judging one problem.
type search struct {
	grid
	p       *Problem
	far     distance
	base    distance                           // its value nil: none
	allowed func(cell *Box, at *Point) float64 // what rounding may make
	budget  int
	boxes   int
	asked   int    // boxes enclosed to tell what is inherited
	open    queue  // may hold a failing point, as far as is known
	later   queue  // looked at again for what lies furthest beyond
	stuck   []part // neither passes nor can be split, or was not reached
	found   [3]Found
	closest Point
	noted   bool
	bound   float64    // of what was put aside without looking closer
	bounds  [3]float64 // of each origin
	missed  float64    // cells that the budget did not reach

	cell, box, there Box // scratch
	at               [MaxInputs]float64
	point, was       Point
}

func newSearch(p *Problem) *search {
	s := &search{grid: newGrid(p.Cells), p: p, budget: p.Budget, bound: math.Inf(-1),
		far: distance{p.Value, p.Limit, p.Ceiling}, base: distance{p.BaseValue, p.BaseLimit, p.Ceiling}}
	if s.budget == 0 {
		s.budget = budget
	}
	for o := range s.bounds {
		s.bounds[o] = math.Inf(-1)
	}
	s.allowed = func(_ *Box, at *Point) float64 { return p.Tolerance(at.Value, at.Limit) }
	return s
}

// spread encloses every cell that is to be judged, as far as the budget and sixteen times as many looks at Only go.
func (s *search) spread() {
	if s.total > 1<<53 {
		s.missed, s.bound = s.total, math.Inf(1)
		return
	}
	var index [MaxInputs]int
	for s.seen = 0; float64(s.seen) < s.total; s.seen++ {
		if s.boxes >= s.budget || s.seen >= 16*s.budget {
			s.missed = s.total - float64(s.seen)
			s.bound = math.Inf(1)
			return
		}
		if s.p.Only == nil || s.p.Only(index[:len(s.axes)]) {
			s.cells = append(s.cells, state{number: s.seen})
			q := part{slot: int32(len(s.cells) - 1), upper: math.Inf(1)}
			s.enclose(&q)
			s.keep(q)
		}
		for i := range s.axes {
			if index[i]++; index[i] < len(s.axes[i]) {
				break
			}
			index[i] = 0
		}
	}
}

// enclose bounds a part, which lies in one that its upper bound held for.
func (s *search) enclose(q *part) {
	s.boxes++
	s.place(q)
	b := s.far.over(&s.cell, &s.box)
	hi, rise, fall := s.far.highest(&b, &s.cell, &s.box, &s.at)
	q.upper = min(q.upper, hi)
	q.rise, q.fall, q.inputs, q.known = rise, fall, b.Inputs&s.wide(), false
	q.corners, q.smooth = b.Multilinear || q.inputs == 0, b.Smooth && !b.Undefined
	if q.half = 0; !q.corners {
		q.half = s.half(&s.box)
	}
}

// half is half a step, and what rounding may add to it.
func (s *search) half(box *Box) float64 { return max(float64(s.p.Step(box)*(0.5+0.5e-9)), 0) }

// place puts the scratch cell and box where a part is.
func (s *search) place(q *part) {
	s.fill(s.cells[q.slot].number, &s.cell)
	q.box(&s.cell, &s.box)
}

// keep puts a part where it is looked at next.
func (s *search) keep(q part) {
	if q.upper > q.half {
		s.open.push(q)
	} else {
		s.later = append(s.later, q)
	}
}

// decide looks at each part that may hold a failing point till its cell is known to hold one, or not to.
func (s *search) decide() {
	for len(s.open) > 0 {
		q := s.open.pop()
		if s.cells[q.slot].failing() {
			s.later = append(s.later, q)
			continue
		}
		failed := s.test(&q)
		if q.corners {
			continue
		}
		if failed {
			s.later = append(s.later, q)
			continue
		}
		a, b, ok := s.split(&q, deciding)
		if !ok {
			s.stuck = append(s.stuck, q)
			continue
		}
		s.keep(a)
		s.keep(b)
	}
}

// split halves a part and encloses both halves: neither if the budget or its sides are too small.
func (s *search) split(q *part, often uint8) (lower, upper part, ok bool) {
	if s.boxes+2 > s.budget {
		return
	}
	if lower, upper, ok = q.halves(often); ok {
		s.enclose(&lower)
		s.enclose(&upper)
	}
	return
}

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
