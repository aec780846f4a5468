package run

// Holed reports of a row whether a channel has no value near enough there, so that what stands in Values is a line
// across a gap.
func (r *Run) Holed(quantity string) func(i int) bool { return r.holed(quantity) }
