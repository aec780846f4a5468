package limits

import (
	"slices"
	"sort"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/definition"
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

// facet is one side of a stop.
type facet struct {
	v     float64
	below bool
	near  [2]int         // the finer stations of the stretches that touch it there
	cell  int            // the stored index of the breakpoint that it is; -1 for none
	on    surface.Span   // the table's own axis
	of    []surface.Span // each rival's axis along this rail
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
	stepped := slices.ContainsFunc(r.axes, func(a []float64) bool {
		for i := 1; i < len(a); i++ {
			if a[i] == a[i-1] {
				return true
			}
		}
		return false
	})
	out, facets := make([]stop, 0, len(points)), make([]facet, 0, 2*len(points))
	for _, v := range points {
		if !r.where.holds(v) {
			continue
		}
		from := len(facets)
		// What is below the first end of where is not of it.
		if stepped && r.steps(v) && (r.where == nil || v > r.where.from) {
			facets = append(facets, facet{v: v, below: true})
		}
		facets = append(facets, facet{v: v})
		out = append(out, stop{v: v, sides: facets[from:]})
	}
	return out
}

func (r *rail) steps(v float64) bool {
	return slices.ContainsFunc(r.axes, func(a []float64) bool { return isStep(a, v) })
}

// has says whether it has all of those axes.
func (r *rail) has(axes [][]float64) bool {
	for _, a := range axes {
		if !slices.ContainsFunc(r.axes, func(b []float64) bool { return slices.Equal(a, b) }) {
			return false
		}
	}
	return true
}

// finer are the stations of a rail that has what was added and what more holds besides, and
// tells the stops which of them are near.
func (r *rail) finer(stops []stop, more ...[]float64) []station {
	all := stops
	if !r.has(more) {
		all = (&rail{axes: slices.Concat(r.axes, more), ends: r.ends, where: r.where, index: r.index}).stops()
	}
	fine := make([]station, 0, 2*len(all))
	for _, s := range all {
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

// mesh is where a surface is judged against bounds. Tables on the same breakpoints have one under a rule that holds everywhere.
type mesh struct {
	rule           *calibrationv1.Rule
	quantity, unit string
	axes           [2]*definition.Axis
	slice          *definition.Slice // of a block
	x, y           []float64         // the candidate's breakpoints, as stored
	rivals         []rival
	lattice        *lattice
	xs, ys         []stop

	xSpans, ySpans []surface.Span // where the stops lie on the table's own axes, and the limit at each point, y outer;
	limits, values []float64      // nil where no table passes at a glance. The values are scratch
}

// suits says whether a subject may be judged on the mesh of another one.
func (m *mesh) suits(s *subject) bool {
	return m != nil && m.rule == s.rule && s.everywhere() && m.quantity == s.t.Quantity && m.unit == s.t.Unit && m.axes == axesOf(s.t) && m.slice == s.cand.t.Slice &&
		s.cand.err == nil && slices.Equal(m.x, s.cand.x) && slices.Equal(m.y, s.cand.y) && !s.bends(m.rivals)
}

// place finds where each stop of rail i lies on what is judged there: once for all points that share it.
func (s *subject) place(i int, stops []stop, rivals []rival) {
	stored, own := [2][]float64{s.cand.x, s.cand.y}[i], [2][]float64{s.cand.grid.X, s.cand.grid.Y}[i]
	spans := make([]surface.Span, 2*len(stops)*len(rivals))
	for _, stop := range stops {
		for k := range stop.sides {
			f := &stop.sides[k]
			f.cell, f.on = indexOf(stored, stop.v, f.below), surface.PlaceFrom(own, stop.v, f.below)
			f.of, spans = spans[:len(rivals)], spans[len(rivals):]
			for n, r := range rivals {
				for k, axis := range [2][]float64{r.now.grid.X, r.now.grid.Y} {
					if r.now.to[k] == i {
						f.of[n] = surface.PlaceFrom(axis, stop.v, f.below)
					}
				}
			}
		}
	}
}

// placeAt is the point of two facets, and which cell it is, if any.
func (s *subject) placeAt(point int, x, y *facet) place {
	p := place{x: x.v, y: y.v, point: point, slice: s.cand.t.Slice}
	if x.cell >= 0 && y.cell >= 0 {
		p.row, p.col, p.cell = y.cell, x.cell, true
	}
	return p
}

// each visits every point, y outer, x inner, ascending, from each of its sides.
func each(xs, ys []stop, visit func(point int, x, y *facet)) {
	point := 0
	for i := range ys {
		for k := range xs {
			point++
			for n := range ys[i].sides {
				for m := range xs[k].sides {
					visit(point, &xs[k].sides[m], &ys[i].sides[n])
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

// indexOf is the stored index of a breakpoint, of equal ones the outermost on the given side; -1 for none, 0 where there
// is no axis.
func indexOf(points []float64, v float64, below bool) int {
	if points == nil {
		return 0
	}
	first := slices.Index(points, v)
	if first < 0 {
		return -1
	}
	last := first
	for last+1 < len(points) && points[last+1] == v {
		last++
	}
	falling := points[0] > points[len(points)-1]
	if below != falling {
		return first
	}
	return last
}

// sideOf is the side of a step that a cell is, in ascending order: below it for all but the last.
func sideOf(points []float64, i int) bool {
	if points == nil {
		return false
	}
	return indexOf(points, points[i], false) != i
}
