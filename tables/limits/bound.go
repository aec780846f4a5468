package limits

import (
	"math"
	"slices"
	"sort"

	"witnessmark/tables/definition"
	"witnessmark/tables/surface"
)

// bound is a surface that limits another one. An axis that the table lacks is taken at its worst.
type bound struct {
	grid    *surface.Grid // axes in the table's units, values in its unit
	to      [2]int        // for its x and y: 0 the table's x, 1 its y, -1 neither
	index   [2]bool       // for its x and y: never interpolated
	curved  bool
	ceiling bool
	shift   float64 // added to its value
}

// at is the limit at a point of the table.
func (b *bound) at(p place, s side) float64 {
	coord := [2]float64{p.x, p.y}
	below := [2]bool{s.belowX, s.belowY}
	axes := [2][]float64{b.grid.X, b.grid.Y}
	var points [2][]float64
	var sides [2][]bool
	for i, to := range b.to {
		if to >= 0 {
			points[i], sides[i] = []float64{coord[to]}, []bool{below[to]}
		} else {
			points[i], sides[i] = axes[i], []bool{true, false}
		}
	}
	worst := math.NaN()
	for _, y := range points[1] {
		for _, x := range points[0] {
			for _, by := range sides[1] {
				for _, bx := range sides[0] {
					v := at(b.grid, x, y, side{bx, by})
					if !surface.Finite(v) {
						return v
					}
					if math.IsNaN(worst) || v < worst == b.ceiling {
						worst = v
					}
				}
			}
		}
	}
	return worst + b.shift
}

// holdSurface judges the whole surface against a bound, and the base against the base's bound
// (nil where it has none).
func (s *subject) holdSurface(b, baseBound *bound) error {
	l := over(s.cand.grid)
	if err := b.joinInto(l, s.t); err != nil {
		return err
	}
	comparable := s.base != nil && baseBound != nil
	if comparable {
		if err := surfaces(s.cand, s.base); err != nil {
			comparable, s.detail = false, "the base could not be judged: "+err.Error()
		}
	}
	s.exact = !s.cand.curved && !b.curved
	l.each(s.cand, func(p place, sd side) {
		v, limit := at(s.cand.grid, p.x, p.y, sd), b.at(p, sd)
		if !comparable {
			s.hold(p, v, limit, 0, 0, false, b.ceiling)
			return
		}
		s.hold(p, v, limit, at(s.base.grid, p.x, p.y, sd), baseBound.at(p, sd), true, b.ceiling)
	})
	return nil
}

// joinInto adds the bound's breakpoints to the points that are judged.
func (b *bound) joinInto(l *lattice, t *definition.Table) error {
	axes := axesOf(t)
	points, steps := [2]*[]float64{&l.x, &l.y}, [2]*[][]float64{&l.stepsX, &l.stepsY}
	for i, of := range [2]*[]float64{&b.grid.X, &b.grid.Y} {
		to := b.to[i]
		if to < 0 {
			continue
		}
		*of = snap(*of, *points[to])
		own := *of
		if (axes[to].Index || b.index[i]) && !samePoints(surface.Join(own, nil), *points[to]) {
			return unjudged("the index axis of %s has other points than what limits the table, and is never interpolated", axes[to].Quantity)
		}
		join(points[to], steps[to], own)
	}
	return nil
}

// snap puts breakpoints that only rounding keeps from the table's own onto them, so that one
// operating point is not judged as two.
func snap(points, to []float64) []float64 {
	out := slices.Clone(points)
	for i, p := range out {
		near := float64(1e-12 * math.Abs(p))
		if k := sort.SearchFloat64s(to, p-near); k < len(to) && to[k] <= p+near {
			out[i] = to[k]
		}
	}
	return out
}
