package bounded

import "math"

// Judge decides each cell, in the order of how far beyond the limit it may reach, and looks for the worst. The same problem
// gets the same answer everywhere.
func Judge(p *Problem) *Result {
	s := newSearch(p)
	s.spread()
	s.decide()
	s.refine()
	r := &Result{Found: s.found, Closest: s.closest, Judged: s.noted, Boxes: s.boxes + s.asked,
		Bound: max(s.bound, s.closest.Beyond)}
	for o := range r.Found {
		f := &r.Found[o]
		if f.Cells == 0 {
			continue
		}
		f.Bound = max(f.Worst.Beyond, s.bounds[o])
		if s.missed > 0 {
			f.Bound = math.Inf(1)
		}
	}
	r.Undecided, r.UndecidedBound = s.undecided()
	return r
}

// undecided counts the cells in which no failing point was found and one may lie, and bounds those.
func (s *search) undecided() (cells int, bound float64) {
	counted := make(map[int32]bool)
	for i := range s.stuck {
		if q := &s.stuck[i]; !s.cells[q.slot].failing() {
			bound = max(bound, q.upper)
			counted[q.slot] = true
		}
	}
	cells = len(counted)
	if s.missed > 0 {
		return int(min(float64(cells)+s.missed, math.MaxInt32)), math.Inf(1)
	}
	return cells, bound
}
