package bounded

import (
	"math"
	"sort"
)

// A little language of functions for the tests: each node is evaluated slowly at points, which says what is true, and
// bounded over boxes, which is what a caller of this package brings.
type node interface {
	value(cell *Box, p *[MaxInputs]float64) float64
	bounds(cell, box *Box) Bounds
}

// tree makes a node a Function.
type tree struct{ node }

func (t tree) At(cell *Box, p *[MaxInputs]float64) float64 { return t.value(cell, p) }
func (t tree) Over(cell, box *Box) Bounds                  { return t.bounds(cell, box) }

type number float64

func (n number) value(*Box, *[MaxInputs]float64) float64 { return float64(n) }
func (n number) bounds(cell, box *Box) Bounds            { return Constant(n).Over(cell, box) }

type input int

func (i input) value(_ *Box, p *[MaxInputs]float64) float64 { return p[i] }
func (i input) bounds(_, box *Box) Bounds {
	b := Bounds{Interval: box[i], Smooth: true, Multilinear: true, Inputs: 1 << i}
	b.Slope[i] = Exactly(1)
	return b
}

type sumOf struct{ a, b node }

func (s sumOf) value(cell *Box, p *[MaxInputs]float64) float64 {
	return s.a.value(cell, p) + s.b.value(cell, p)
}
func (s sumOf) bounds(cell, box *Box) Bounds {
	a, b := s.a.bounds(cell, box), s.b.bounds(cell, box)
	a.Interval = a.Interval.Add(b.Interval)
	for i := range a.Slope {
		a.Slope[i] = a.Slope[i].Add(b.Slope[i])
	}
	return joined(a, b, true)
}

// joined combines what two operands have in common.
func joined(out, b Bounds, multilinear bool) Bounds {
	out.Smooth = out.Smooth && b.Smooth
	out.Multilinear = out.Multilinear && b.Multilinear && multilinear
	out.Inputs |= b.Inputs
	return out
}

type productOf struct{ a, b node }

func (m productOf) value(cell *Box, p *[MaxInputs]float64) float64 {
	return float64(m.a.value(cell, p) * m.b.value(cell, p))
}
func (m productOf) bounds(cell, box *Box) Bounds {
	a, b := m.a.bounds(cell, box), m.b.bounds(cell, box)
	out := a
	out.Interval = a.Mul(b.Interval)
	for i := range a.Slope {
		out.Slope[i] = a.Slope[i].Mul(b.Interval).Add(b.Slope[i].Mul(a.Interval))
	}
	return joined(out, b, a.Inputs&b.Inputs == 0)
}

// ratio is a / b: undefined where b is zero.
type ratio struct{ a, b node }

func (q ratio) value(cell *Box, p *[MaxInputs]float64) float64 {
	return q.a.value(cell, p) / q.b.value(cell, p)
}
func (q ratio) bounds(cell, box *Box) Bounds {
	a, b := q.a.bounds(cell, box), q.b.bounds(cell, box)
	out := a
	out.Interval = a.Div(b.Interval)
	for i := range a.Slope { // (a' - (a/b) b') / b
		out.Slope[i] = a.Slope[i].Sub(out.Mul(b.Slope[i])).Div(b.Interval)
	}
	return joined(out, b, b.Inputs == 0)
}

type lesser struct{ a, b node }

func (m lesser) value(cell *Box, p *[MaxInputs]float64) float64 {
	return min(m.a.value(cell, p), m.b.value(cell, p))
}
func (m lesser) bounds(cell, box *Box) Bounds {
	a, b := m.a.bounds(cell, box), m.b.bounds(cell, box)
	switch {
	case a.Hi <= b.Lo && !a.Undefined && !b.Undefined:
		return a
	case b.Hi <= a.Lo && !a.Undefined && !b.Undefined:
		return b
	}
	a.Interval = a.Min(b.Interval)
	for i := range a.Slope {
		a.Slope[i] = a.Slope[i].Hull(b.Slope[i])
	}
	return joined(a, b, false)
}

// choice is a where an input lies below c, else b. Its cells end at c.
type choice struct {
	on   int
	c    float64
	a, b node
}

func (h choice) taken(cell *Box) node {
	if cell[h.on].Hi <= h.c && cell[h.on].Lo < h.c {
		return h.a
	}
	return h.b
}
func (h choice) value(cell *Box, p *[MaxInputs]float64) float64 { return h.taken(cell).value(cell, p) }
func (h choice) bounds(cell, box *Box) Bounds                   { return h.taken(cell).bounds(cell, box) }

// line is a table over one input, its breakpoints rising; equal ones are a step. In its own breakpoints' cells.
type line struct {
	on int
	xs []float64
	ys []float64
}

// stretch is where a cell lies among breakpoints; a = b where it lies outside of them.
func stretch(xs []float64, cell Interval) (a, b int) {
	mid := cell.Middle()
	b = sort.Search(len(xs), func(i int) bool { return xs[i] > mid })
	switch {
	case b == 0:
		return 0, 0
	case b == len(xs):
		return b - 1, b - 1
	}
	return b - 1, b
}

func share(xs []float64, a, b int, x float64) float64 {
	if a == b {
		return 0
	}
	return (x - xs[a]) / (xs[b] - xs[a])
}

func between(a, b, t float64) float64 {
	switch {
	case t == 0 || a == b:
		return a
	case t == 1:
		return b
	}
	return float64((1-t)*a) + float64(t*b)
}

// over is between, for intervals.
func over(a, b, t Interval) Interval {
	if t.IsZero() || a == b {
		return a
	}
	return Exactly(1).Sub(t).Mul(a).Add(t.Mul(b))
}

// shares is share at both ends of a stretch of an input.
func shares(xs []float64, a, b int, box Interval) [2]Interval {
	if a == b {
		return [2]Interval{}
	}
	at := func(x float64) Interval {
		return Exactly(x).Sub(Exactly(xs[a])).Div(Exactly(xs[b]).Sub(Exactly(xs[a])))
	}
	return [2]Interval{at(box.Lo), at(box.Hi)}
}

func (l line) value(cell *Box, p *[MaxInputs]float64) float64 {
	a, b := stretch(l.xs, cell[l.on])
	return between(l.ys[a], l.ys[b], share(l.xs, a, b, p[l.on]))
}
func (l line) bounds(cell, box *Box) Bounds {
	a, b := stretch(l.xs, cell[l.on])
	t := shares(l.xs, a, b, box[l.on])
	ya, yb := Exactly(l.ys[a]), Exactly(l.ys[b])
	out := Bounds{Interval: over(ya, yb, t[0]).Hull(over(ya, yb, t[1])), Smooth: true, Multilinear: true}
	if ya != yb {
		out.Slope[l.on] = yb.Sub(ya).Div(Exactly(l.xs[b]).Sub(Exactly(l.xs[a])))
		out.Inputs = 1 << l.on
	}
	return out
}

// plane is a table over two inputs.
type plane struct {
	x, y   int
	xs, ys []float64
	z      [][]float64 // row by row of y
}

func (m plane) value(cell *Box, p *[MaxInputs]float64) float64 {
	a, b := stretch(m.xs, cell[m.x])
	c, d := stretch(m.ys, cell[m.y])
	t, u := share(m.xs, a, b, p[m.x]), share(m.ys, c, d, p[m.y])
	return between(between(m.z[c][a], m.z[c][b], t), between(m.z[d][a], m.z[d][b], t), u)
}
func (m plane) bounds(cell, box *Box) Bounds {
	a, b := stretch(m.xs, cell[m.x])
	c, d := stretch(m.ys, cell[m.y])
	t, u := shares(m.xs, a, b, box[m.x]), shares(m.ys, c, d, box[m.y])
	ca, cb, da, db := Exactly(m.z[c][a]), Exactly(m.z[c][b]), Exactly(m.z[d][a]), Exactly(m.z[d][b])
	out := Bounds{Smooth: true, Multilinear: true}
	for i := range 2 {
		low, high := over(ca, cb, t[i]), over(da, db, t[i])
		left, right := over(ca, da, u[i]), over(cb, db, u[i])
		e := over(low, high, u[0]).Hull(over(low, high, u[1]))
		sx, sy := Interval{}, Interval{}
		if a != b {
			sx = right.Sub(left).Div(Exactly(m.xs[b]).Sub(Exactly(m.xs[a])))
		}
		if c != d {
			sy = high.Sub(low).Div(Exactly(m.ys[d]).Sub(Exactly(m.ys[c])))
		}
		if i == 0 {
			out.Interval, out.Slope[m.x], out.Slope[m.y] = e, sx, sy
		} else {
			out.Interval, out.Slope[m.x], out.Slope[m.y] = out.Hull(e), out.Slope[m.x].Hull(sx), out.Slope[m.y].Hull(sy)
		}
	}
	if !out.Slope[m.x].IsZero() {
		out.Inputs |= 1 << m.x
	}
	if !out.Slope[m.y].IsZero() {
		out.Inputs |= 1 << m.y
	}
	return out
}

// chain looks a table up by what another node gives: at a step the later value counts.
type chain struct {
	of     node
	xs, ys []float64
}

func (c chain) value(cell *Box, p *[MaxInputs]float64) float64 {
	x := c.of.value(cell, p)
	if math.IsNaN(x) {
		return x
	}
	a, b := stretch(c.xs, Interval{Lo: x, Hi: x})
	return between(c.ys[a], c.ys[b], share(c.xs, a, b, x))
}
func (c chain) bounds(cell, box *Box) Bounds {
	out := c.of.bounds(cell, box)
	x := out.Interval
	first := sort.Search(len(c.xs), func(i int) bool { return c.xs[i] >= x.Lo }) // breakpoints first…last-1 lie in it
	last := sort.Search(len(c.xs), func(i int) bool { return c.xs[i] > x.Hi })
	at := func(v float64) Interval {
		a, b := stretch(c.xs, Interval{Lo: v, Hi: v})
		return over(Exactly(c.ys[a]), Exactly(c.ys[b]), shares(c.xs, a, b, Interval{Lo: v, Hi: v})[0])
	}
	out.Interval = at(max(x.Lo, c.xs[0])).Hull(at(min(x.Hi, c.xs[len(c.xs)-1])))
	out.Undefined = x.Undefined
	slope, found := Interval{}, false
	for k := first - 1; k < last; k++ {
		s := Interval{}
		switch {
		case k < 0 || k+1 >= len(c.xs):
		case c.xs[k] == c.xs[k+1]:
			if x.Lo < c.xs[k] {
				out.Smooth = false
			}
			continue
		default:
			s = Exactly(c.ys[k+1]).Sub(Exactly(c.ys[k])).Div(Exactly(c.xs[k+1]).Sub(Exactly(c.xs[k])))
		}
		if slope = slope.Hull(s); !found {
			slope, found = s, true
		}
	}
	for k := first; k < last; k++ {
		out.Interval = out.Hull(Exactly(c.ys[k]))
	}
	out.Multilinear = out.Multilinear && last == first && out.Smooth
	for i := range out.Slope {
		out.Slope[i] = out.Slope[i].Mul(slope)
	}
	return out
}

type difference struct{ a, b Function }

// Difference is a − b.
func Difference(a, b Function) Function { return difference{a, b} }

func (d difference) At(cell *Box, p *[MaxInputs]float64) float64 {
	return d.a.At(cell, p) - d.b.At(cell, p)
}

func (d difference) Over(cell, box *Box) Bounds {
	a, b := d.a.Over(cell, box), d.b.Over(cell, box)
	return a.Sub(&b)
}
