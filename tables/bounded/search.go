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
		far: distance{p.Value, p.Limit, p.Ceiling, p.Apart}, base: distance{p.BaseValue, p.BaseLimit, p.Ceiling, nil}}
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
