package bounded

// Problem asks where a value lies beyond a limit, and whether it did so before.
type Problem struct {
	// Cells are, for each input, the stretches between its neighbouring breakpoints, ascending. A single point has
	// Lo == Hi, and so has each point of an input that is not interpolated.
	Cells [][]Interval
	// Only, if given, picks the cells that are judged, by their number along each input. It does not keep the slice.
	Only func(index []int) bool

	Value, Limit Function
	// Apart, if given, is value less limit, where its enclosure is narrower than those of the two by themselves.
	Apart Function
	// BaseValue and BaseLimit are what the base had there; both nil: there is no base, all that fails is introduced.
	BaseValue, BaseLimit Function
	// NoFurther, if given, spares work: the candidate is known to lie no further out than the base all over a cell.
	NoFurther func(cell *Box) bool
	// Ceiling: a value above its limit is beyond it; else one below.
	Ceiling bool
	// Step is the finest difference that means anything in a box. What does not take its extremes at corners
	// must lie beyond the limit by more than half of it to fail.
	Step func(box *Box) float64
	// Tolerance is what rounding may make, at a corner that decides exactly.
	Tolerance func(value, limit float64) float64
	// Budget is how many boxes may be enclosed, and how many again to tell what is inherited; 0: 200,000.
	Budget int
}

// Origin tells how a failing point relates to the base.
type Origin int

// A point is introduced where the base passes; of those where it fails too it is inherited if the candidate lies further
// out than the base nowhere in the cells that touch it, else worsened.
const (
	Introduced Origin = iota
	Worsened
	Inherited
)

// Point is an operating point, and what was evaluated there.
type Point struct {
	Inputs       [MaxInputs]float64
	Cell         [MaxInputs]int // from whose side, by number along each input
	Value, Limit float64
	Beyond       float64 // how far the value lies beyond the limit, negative inside; infinite where one of them is not finite
}

// Found is what was found of one origin.
type Found struct {
	Cells int     // in which a failing point was found
	Worst Point   // the one furthest beyond; of equals the first, the last input outermost
	Bound float64 // no point of this origin lies further beyond; where corners decide, no corner
}

// Result is the answer to a Problem.
type Result struct {
	Found [3]Found // by Origin
	// Closest is the point furthest beyond, or with least room, of all, whatever its origin, within half a step
	// of Bound, beyond which there is none. Valid if Judged.
	Closest Point
	Bound   float64
	Judged  bool // there was a cell to judge
	// Undecided cells hold no failing point that was found, and may hold one, as far beyond as UndecidedBound.
	Undecided      int
	UndecidedBound float64
	// Boxes were enclosed.
	Boxes int
}
