package limits

import (
	"math"
	"slices"

	"witnessmark/tables/bounded"
	"witnessmark/tables/definition"
	"witnessmark/tables/signal"
	"witnessmark/tables/surface"
)

// whereRawMoved leaves out the cells of areas in which what is judged is raw what it is held against, be it no number.
func (b *boxes) whereRawMoved(areas []area, from *surface.Grid) []area {
	moved := b.rawFrom(from)
	out := slices.Clone(areas)
	for i, a := range out {
		for _, along := range a.cells {
			if len(along) == 0 {
				return areas
			}
		}
		b.looked++ // at all of it, of which the most has not moved
		box := boxOf(a.cells)
		out[i].only = func(index []int) bool {
			if a.only != nil && !a.only(index) {
				return false
			}
			up, down, _ := moved(box(index))
			return up || down
		}
	}
	return out
}

// rawMoved compares raw values: between the breakpoints of both they run straight along each axis, so that the corners
// tell, and the conversion keeps or turns their order.
func (b *boxes) rawMoved() moved {
	if b.base == nil || !sameMeaning(b.cand.t, b.subject.was().t) {
		return nil
	}
	from := b.rawFrom(b.subject.was().grid.Raw())
	return func(cell *bounded.Box) (up, down, known bool) {
		up, down, reach := from(cell)
		known = surface.Finite(reach.Lo, reach.Hi)
		if up || down {
			switch ordering(&b.t.Cells.Conv, reach.Lo, reach.Hi) {
			case 0:
				known = false
			case -1:
				up, down = down, up
			}
		}
		return up, down, known
	}
}

// rawFrom says of a cell whether raw values lie above others anywhere, or below, and between which all of them lie.
func (b *boxes) rawFrom(was *surface.Grid) func(cell *bounded.Box) (up, down bool, reach bounded.Interval) {
	now := b.cand.grid.Raw()
	along := [2]int{-1, -1}
	for i, in := range b.space.Inputs() {
		if k := b.axisOf(&in); k >= 0 {
			along[k] = i
		}
	}
	return func(cell *bounded.Box) (up, down bool, reach bounded.Interval) {
		least, most := math.Inf(1), math.Inf(-1)
		for _, x := range corners(cell, along[0]) {
			for _, y := range corners(cell, along[1]) {
				sd := side{x.below, y.below}
				p, q := at(now, x.v, y.v, sd), at(was, x.v, y.v, sd)
				least, most = min(least, p, q), max(most, p, q)
				other := p != q && (p == p || q == q)
				up, down = up || other && !(p <= q), down || other && !(p >= q)
			}
		}
		return up, down, bounded.Interval{Lo: least, Hi: most}
	}
}

// ordering is 1 where a conversion rises from one raw value to another, -1 where it falls, 0 where it may do both.
func ordering(c *definition.Conversion, least, most float64) int {
	switch {
	case c.Points != nil:
		return orderingOf(c.Points, least, most)
	case !c.Rational:
		return int(math.Copysign(1, c.Factor))
	}
	n, d := c.Num, c.Den
	bend := [3]float64{ // the numerator of its slope
		float64(n[1]*d[0]) - float64(n[0]*d[1]), 2 * (float64(n[2]*d[0]) - float64(n[0]*d[2])), float64(n[2]*d[1]) - float64(n[1]*d[2]),
	}
	if oneSign(d, least, most) == 0 {
		return 0
	}
	return oneSign(bend, least, most)
}

// orderingOf is the same of a conversion by pairs.
func orderingOf(p *definition.Points, least, most float64) int {
	up, down, last := true, true, math.NaN()
	signal.Through(p, least, most, func(v float64) {
		up, down, last = up && !(v < last), down && !(v > last), v
	})
	switch {
	case up:
		return 1
	case down:
		return -1
	}
	return 0
}

// oneSign is the sign that a quadratic has all over a stretch, 0 for none.
func oneSign(q [3]float64, least, most float64) int {
	ends := []float64{least, most}
	if turn := -q[1] / (2 * q[2]); turn > least && turn < most {
		ends = append(ends, turn)
	}
	up, down := true, true
	for _, v := range ends {
		y := q[0] + float64(q[1]*v) + float64(q[2]*float64(v*v))
		up, down = up && y > 0, down && y < 0
	}
	switch {
	case up:
		return 1
	case down:
		return -1
	}
	return 0
}

// corners are the ends of a cell along an input, seen from inside; any point where there is no such input.
func corners(cell *bounded.Box, i int) []station {
	if i < 0 {
		return []station{{}}
	}
	if c := cell[i]; c.Lo < c.Hi {
		return []station{{v: c.Lo}, {v: c.Hi, below: true}}
	}
	return []station{{v: cell[i].Lo}}
}
