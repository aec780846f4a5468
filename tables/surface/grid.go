// Package surface interpolates tables as a controller does: linear in each axis, in physical
// breakpoints, x first, then y, held at the end values.
package surface

import (
	"math"
	"slices"
	"sort"
)

// Grid is a table ready to be interpolated: values[row][col] flat, on strictly usable axes.
// X and Y are sorted ascending (falling stored axes are read backwards); an absent axis has one
// breakpoint at 0. Equal neighbours are a step: the earlier cell below it, the last one at it and above.
type Grid struct {
	X, Y    []float64
	Values  []float64                 // len(Y)*len(X), raw where Convert is set
	Convert func(raw float64) float64 // nil, or the rational conversion or that of points, applied after interpolating
}

// Span is where a point lies along an axis: between the cells lo and hi, t of the way.
type Span struct {
	lo, hi int
	t      float64
}

// At is the surface at (x, y), in the table's unit. Outside its own range it holds the end value;
// at a step it is the value at and above. A NaN coordinate gives NaN.
func (g *Grid) At(x, y float64) float64 {
	if math.IsNaN(x) || math.IsNaN(y) {
		return math.NaN()
	}
	return g.On(above(g.X, x), above(g.Y, y))
}

// Raw is the same grid without its conversion, so that raw values can be compared.
func (g *Grid) Raw() *Grid { return &Grid{X: g.X, Y: g.Y, Values: g.Values} }

// Steps says along which axes the point (x, y) lies on a step.
func (g *Grid) Steps(x, y float64) (inX, inY bool) {
	return PlaceFrom(g.X, x, true) != above(g.X, x), PlaceFrom(g.Y, y, true) != above(g.Y, y)
}

// Side is the surface at (x, y) as it is approached from below along the axes asked for, so that two
// grids whose steps lie along different axes can be compared side by side.
func (g *Grid) Side(x, y float64, belowX, belowY bool) float64 {
	if math.IsNaN(x) || math.IsNaN(y) {
		return math.NaN()
	}
	return g.On(PlaceFrom(g.X, x, belowX), PlaceFrom(g.Y, y, belowY))
}

// On is the surface at a place of each axis, in the table's unit.
func (g *Grid) On(x, y Span) float64 {
	v := g.between(x, y)
	if g.Convert == nil {
		return v
	}
	return g.Convert(v)
}

// OnAll is On at all places of x and y, y outer, of a grid without a conversion. Rows may be used again.
func (g *Grid) OnAll(xs, ys []Span, rows *[]float64, out []float64) {
	n, width := len(xs), len(g.X)
	if need := n * len(g.Y); len(*rows) < need {
		*rows = make([]float64, need)
	}
	along := *rows
	for row := range g.Y {
		v, at := g.Values[row*width:(row+1)*width], along[row*n:(row+1)*n]
		for k := range xs {
			x := &xs[k]
			at[k] = mix(v[x.lo], v[x.hi], x.t)
		}
	}
	for i := range ys {
		y, to := &ys[i], out[i*n:(i+1)*n]
		low, high := along[y.lo*n:(y.lo+1)*n], along[y.hi*n:(y.hi+1)*n]
		if y.t == 0 || y.lo == y.hi {
			copy(to, low)
			continue
		}
		for k := range to {
			to[k] = mix(low[k], high[k], y.t)
		}
	}
}

// between interpolates along x in both rows, then along y.
func (g *Grid) between(sx, sy Span) float64 {
	a := g.along(sy.lo, sx)
	if sy.lo == sy.hi {
		return a
	}
	return mix(a, g.along(sy.hi, sx), sy.t)
}

func (g *Grid) along(row int, x Span) float64 {
	v := g.Values[row*len(g.X):]
	return mix(v[x.lo], v[x.hi], x.t)
}

// mix rounds each product by itself, so that no build fuses it with the sum.
func mix(a, b, t float64) float64 {
	switch {
	case t == 0 || a == b:
		return a
	case t == 1:
		return b
	}
	return float64((1-t)*a) + float64(t*b)
}

// above places v with the last of equal breakpoints: the value at it and above.
func above(axis []float64, v float64) Span {
	i := sort.Search(len(axis), func(i int) bool { return axis[i] > v }) - 1
	switch {
	case i < 0:
		return Span{}
	case i == len(axis)-1 || axis[i] == v:
		return Span{lo: i, hi: i}
	}
	return Span{lo: i, hi: i + 1, t: part(axis[i], axis[i+1], v)}
}

// part is how far v lies from a to b, halved first where the distance itself would overflow.
func part(a, b, v float64) float64 {
	if d := b - a; !math.IsInf(d, 0) {
		return (v - a) / d
	}
	return (float64(v/2) - float64(a/2)) / (float64(b/2) - float64(a/2))
}

// Join is the breakpoints of both, ascending, equal ones once. Neither a nor b is changed.
func Join(a, b []float64) []float64 {
	out := make([]float64, 0, len(a)+len(b))
	out = append(append(out, a...), b...)
	slices.Sort(out)
	return slices.Compact(out)
}
