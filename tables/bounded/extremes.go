package bounded

// Extreme is a point where a function is least or greatest, as near as half a step.
type Extreme struct {
	Point         // Value is the function's, and Limit 0
	Bound float64 // it lies beyond this nowhere
}

// Extremes finds where a function is least and greatest; cells, step and budget as in a Problem, the budget for each of
// the two. Without a cell that is judged boxes is 0, and there are none.
func Extremes(f Function, cells [][]Interval, only func(index []int) bool, step func(box *Box) float64, budget int) (least, greatest Extreme, boxes int) {
	end := func(most bool) Extreme {
		s := newSearch(&Problem{Cells: cells, Only: only, Value: f, Limit: Constant(0), Ceiling: most, Step: step,
			Tolerance: func(float64, float64) float64 { return 0 }, Budget: budget})
		s.spread()
		s.later = append(s.later, s.open...)
		s.open = nil
		s.refine()
		boxes += s.boxes
		return Extreme{s.closest, max(s.bound, s.closest.Beyond)}
	}
	least, greatest = end(false), end(true)
	least.Bound = -least.Bound
	return least, greatest, boxes
}
