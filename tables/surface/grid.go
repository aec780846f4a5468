// Package surface interpolates tables as a controller does: linear in each axis, in physical
// breakpoints, x first, then y, held at the end values.
package surface

// Grid is a table ready to be interpolated: values[row][col] flat, on strictly usable axes.
// X and Y are sorted ascending (falling stored axes are read backwards); an absent axis has one
// breakpoint at 0. Equal neighbours are a step.
type Grid struct {
	X, Y    []float64
	Values  []float64                 // len(Y)*len(X), raw where Convert is set
	Convert func(raw float64) float64 // nil, or the rational conversion applied after interpolating
}
