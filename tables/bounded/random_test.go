package bounded

import (
	"math"
	"math/rand/v2"
	"slices"
)

// rig makes random problems: tables over a few inputs with steps and single points, and what is computed from them.
type rig struct {
	*rand.Rand
	inputs int
	points [][]float64 // of each input; equal neighbours are a step
	index  []bool      // of each input: not interpolated
	tame   bool        // nothing steep, and no steps but those of inputs
}

func newRig(seed uint64, inputs int) *rig {
	g := &rig{Rand: rand.New(rand.NewPCG(seed, 1)), inputs: inputs}
	for range inputs {
		n := 1 + g.IntN(4)
		xs := []float64{float64(g.IntN(5))}
		for len(xs) < n {
			xs = append(xs, xs[len(xs)-1]+[]float64{0, 0.5, 1, 3}[g.IntN(4)])
			if k := len(xs); k > 2 && xs[k-1] == xs[k-3] {
				xs = xs[:k-1]
			}
		}
		g.points = append(g.points, xs)
		g.index = append(g.index, g.IntN(8) == 0)
	}
	return g
}

// cells are the stretches between breakpoints, and one on either side of them.
func (g *rig) cells() [][]Interval {
	out := make([][]Interval, g.inputs)
	for i, xs := range g.points {
		one := slices.Compact(slices.Clone(xs))
		if g.index[i] || len(one) == 1 && g.IntN(2) == 0 {
			for _, x := range one {
				out[i] = append(out[i], Exactly(x))
			}
			continue
		}
		all := append(append([]float64{one[0] - 1}, one...), one[len(one)-1]+1)
		for k := range all[1:] {
			out[i] = append(out[i], Interval{Lo: all[k], Hi: all[k+1]})
		}
	}
	return out
}

func (g *rig) raw() float64 { return float64(g.IntN(81)-40) * 0.25 }

func (g *rig) table() node {
	x, y := g.IntN(g.inputs), g.IntN(g.inputs)
	if x == y {
		l := line{on: x, xs: g.points[x]}
		for range l.xs {
			l.ys = append(l.ys, g.raw())
		}
		return l
	}
	m := plane{x: x, y: y, xs: g.points[x], ys: g.points[y]}
	for range m.ys {
		row := make([]float64, len(m.xs))
		for k := range row {
			row[k] = g.raw()
		}
		m.z = append(m.z, row)
	}
	return m
}

// bilinear is a sum of tables and choices among them.
func (g *rig) bilinear(depth int) node {
	if depth == 0 {
		return g.table()
	}
	if g.IntN(3) == 0 {
		on := g.IntN(g.inputs)
		return choice{on, g.points[on][g.IntN(len(g.points[on]))], g.bilinear(depth - 1), g.bilinear(depth - 1)}
	}
	return sumOf{g.bilinear(depth - 1), g.table()}
}

// any is whatever can be made of tables.
func (g *rig) any(depth int) node {
	if depth == 0 {
		return g.table()
	}
	a := g.any(depth - 1)
	kinds := 7
	if g.tame {
		kinds = 5
	}
	switch g.IntN(kinds) {
	case 0:
		return sumOf{a, g.any(depth - 1)}
	case 1:
		return productOf{productOf{number(0.125), a}, g.table()}
	case 2:
		return lesser{a, g.table()}
	case 3:
		return lesser{number(g.raw()), a}
	case 4:
		on := g.IntN(g.inputs)
		return choice{on, g.points[on][g.IntN(len(g.points[on]))], a, g.any(depth - 1)}
	case 5:
		return ratio{a, sumOf{number(9), lesser{g.table(), number(8)}}}
	}
	xs := []float64{-6, -1, 0, 0, 4, 9}
	c := chain{of: a, xs: xs}
	for range xs {
		c.ys = append(c.ys, g.raw())
	}
	return c
}

// changed is a node with some of its tables altered.
func (g *rig) changed(n node) node {
	switch n := n.(type) {
	case line:
		n.ys = slices.Clone(n.ys)
		n.ys[g.IntN(len(n.ys))] += float64(g.IntN(5)-2) * 0.5
		return n
	case plane:
		n.z = slices.Clone(n.z)
		k := g.IntN(len(n.z))
		n.z[k] = slices.Clone(n.z[k])
		n.z[k][g.IntN(len(n.z[k]))] += float64(g.IntN(5)-2) * 0.5
		return n
	case sumOf:
		return sumOf{g.changed(n.a), n.b}
	case choice:
		return choice{n.on, n.c, g.changed(n.a), n.b}
	case productOf:
		return productOf{n.a, g.changed(n.b)}
	case lesser:
		return lesser{n.a, g.changed(n.b)}
	case chain:
		return chain{g.changed(n.of), n.xs, n.ys}
	case ratio:
		return ratio{g.changed(n.a), n.b}
	}
	return n
}

// point is somewhere in a cell, now and then at its ends.
func (g *rig) point(cell *Box) (p [MaxInputs]float64) {
	for i := range p {
		switch g.IntN(6) {
		case 0:
			p[i] = cell[i].Lo
		case 1:
			p[i] = cell[i].Hi
		default:
			p[i] = min(cell[i].Lo+float64(g.Float64()*(cell[i].Hi-cell[i].Lo)), cell[i].Hi)
		}
	}
	return p
}

const oneStep = 0.25

func tolerance(value, limit float64) float64 {
	return 1e-9 * max(math.Abs(value), math.Abs(limit), oneStep)
}

func (g *rig) problem(value, limit, baseValue, baseLimit node) *Problem {
	p := &Problem{Cells: g.cells(), Value: tree{value}, Limit: tree{limit}, Ceiling: g.IntN(2) == 0,
		Step: func(*Box) float64 { return oneStep }, Tolerance: tolerance}
	if baseValue != nil {
		p.BaseValue, p.BaseLimit = tree{baseValue}, tree{baseLimit}
	}
	return p
}
