package limits

import (
	"slices"
	"sort"

	"witnessmark/tables/surface"
)

// side says which side of a step is meant, in each axis.
type side struct{ belowX, belowY bool }

// station is a breakpoint as it is seen from one side of it.
type station struct {
	v     float64
	below bool
}

// stop is a breakpoint with the sides from which it is judged: both at a step, below first.
type stop struct {
	v     float64
	sides []facet
}

// facet is one side of a stop; near are the finer stations of the stretches that touch it there.
type facet struct {
	below bool
	near  [2]int
}

// rail is one axis of the points at which surfaces are judged together.
type rail struct {
	axes  [][]float64 // the breakpoints of each, ascending; equal neighbours are a step
	ends  []float64   // further breakpoints, at which nothing steps
	where *stretch
	index bool // nothing lies between its points
}

func (r *rail) add(axis []float64) { r.axes = append(r.axes, axis) }

// stops are the breakpoints inside where, ascending.
func (r *rail) stops() []stop {
	var points []float64
	if !r.index {
		points = r.ends
	}
	for _, a := range r.axes {
		points = surface.Join(points, a)
	}
	out := make([]stop, 0, len(points))
	for _, v := range points {
		if !r.where.holds(v) {
			continue
		}
		s := stop{v: v, sides: []facet{{}}}
		// What is below the first end of where is not of it.
		if r.steps(v) && (r.where == nil || v > r.where.from) {
			s.sides = []facet{{below: true}, {}}
		}
		out = append(out, s)
	}
	return out
}

func (r *rail) steps(v float64) bool {
	return slices.ContainsFunc(r.axes, func(a []float64) bool { return isStep(a, v) })
}

// finer are the stations of a rail that has what was added and what more holds besides, and
// tells the stops which of them are near.
func (r *rail) finer(stops []stop, more ...[]float64) []station {
	wider := rail{axes: slices.Concat(r.axes, more), ends: r.ends, where: r.where, index: r.index}
	var fine []station
	for _, s := range wider.stops() {
		for _, f := range s.sides {
			fine = append(fine, station{s.v, f.below})
		}
	}
	first := func(v float64) int { return sort.Search(len(fine), func(i int) bool { return fine[i].v >= v }) }
	last := func(v float64) int { return sort.Search(len(fine), func(i int) bool { return fine[i].v > v }) - 1 }
	for k, s := range stops {
		split := len(s.sides) == 2
		for i := range s.sides {
			f := &s.sides[i]
			f.near = [2]int{first(s.v), last(s.v)}
			if split && f.below {
				f.near[1] = f.near[0]
			} else if split {
				f.near[0] = f.near[1]
			}
			if k > 0 && !r.index && (!split || f.below) {
				f.near[0] = last(stops[k-1].v)
			}
			if k+1 < len(stops) && !r.index && (!split || !f.below) {
				f.near[1] = first(stops[k+1].v)
			}
		}
	}
	return fine
}

// lattice is the points at which a surface is judged.
type lattice struct{ x, y rail }

// each visits every point, y outer, x inner, ascending; place says which cell of f it is, if any.
func (l *lattice) each(f *face, xs, ys []stop, visit func(p place, x, y facet)) {
	point := 0
	for _, y := range ys {
		for _, x := range xs {
			point++
			for _, fy := range y.sides {
				for _, fx := range x.sides {
					p := place{x: x.v, y: y.v, point: point}
					col, okX := indexOf(f.x, x.v, fx.below)
					row, okY := indexOf(f.y, y.v, fy.below)
					if okX && okY {
						p.row, p.col, p.cell = row, col, true
					}
					visit(p, fx, fy)
				}
			}
		}
	}
}

// at is the surface at a point, on one side of the steps that the grid may have there.
func at(g *surface.Grid, x, y float64, s side) float64 {
	if !s.belowX && !s.belowY {
		return g.At(x, y)
	}
	return g.Side(x, y, s.belowX, s.belowY)
}

// isStep says whether an ascending axis has v more than once.
func isStep(axis []float64, v float64) bool {
	i, ok := slices.BinarySearch(axis, v)
	return ok && i+1 < len(axis) && axis[i+1] == v
}

// indexOf is the stored index of a breakpoint; of equal ones the outermost on the given side.
func indexOf(points []float64, v float64, below bool) (int, bool) {
	if points == nil {
		return 0, true
	}
	first := slices.Index(points, v)
	if first < 0 {
		return 0, false
	}
	last := first
	for last+1 < len(points) && points[last+1] == v {
		last++
	}
	falling := points[0] > points[len(points)-1]
	if below != falling {
		return first, true
	}
	return last, true
}

// sideOf is the side of a step that a cell is, in ascending order: below it for all but the last.
func sideOf(points []float64, i int) bool {
	if points == nil {
		return false
	}
	at, _ := indexOf(points, points[i], false)
	return at != i
}
