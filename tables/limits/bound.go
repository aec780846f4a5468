package limits

import (
	"math"
	"slices"
	"sort"
	"sync"

	"witnessmark/tables/definition"
	"witnessmark/tables/surface"
)

// bound is a surface that limits another one.
type bound struct {
	grid    *surface.Grid    // axes in the table's units, values in its unit
	to      [2]int           // for its x and y: 0 the table's x, 1 its y, -1 neither
	index   [2]bool          // for its x and y: never interpolated
	of      *surface.Decoded // the table that it is, if it is one
	curved  bool             // between its breakpoints it is no straight line
	free    [2][]stop        // of an axis that the table lacks: where it is taken at its worst
	ceiling bool
	shift   float64 // added to its value
	share   float64 // of its value, or of least where that is smaller, added as well
	least   float64
	still   bool // what is no number, and was none, keeps it
}

// level is a bound that is the same everywhere.
func level(v float64, ceiling bool) *bound {
	return &bound{grid: &surface.Grid{X: []float64{0}, Y: []float64{0}, Values: []float64{0}}, to: [2]int{-1, -1}, ceiling: ceiling, shift: v}
}

// at is the limit at a point of the table.
func (b *bound) at(x, y float64, s side) float64 {
	if b.free[0] == nil && b.free[1] == nil {
		bx, by := b.coordinate(0, x, y, s), b.coordinate(1, x, y, s)
		return b.moved(at(b.grid, bx.v, by.v, side{bx.below, by.below}))
	}
	worst := math.NaN()
	for _, by := range b.seen(1, x, y, s) {
		for _, bx := range b.seen(0, x, y, s) {
			v := at(b.grid, bx.v, by.v, side{bx.below, by.below})
			if !surface.Finite(v) {
				return v
			}
			if math.IsNaN(worst) || v < worst == b.ceiling {
				worst = v
			}
		}
	}
	return b.moved(worst)
}

func (b *bound) moved(v float64) float64 {
	if b.share != 0 {
		return v + float64(b.share*max(math.Abs(v), b.least))
	}
	return v + b.shift
}

// apiece says that each axis of the table stands for one axis of the bound at most, and no axis of that is free.
func (b *bound) apiece() bool {
	return b.free[0] == nil && b.free[1] == nil && (b.to[0] < 0 || b.to[0] != b.to[1])
}

// on is the limit where rail x and rail y have these places of its axes.
func (b *bound) on(x, y surface.Span) float64 {
	if b.to[0] == 1 || b.to[1] == 0 {
		x, y = y, x
	}
	return b.moved(b.grid.On(x, y))
}

// coordinate is a point of the table along the bound's axis i; any will do where there is none.
func (b *bound) coordinate(i int, x, y float64, s side) station {
	if b.to[i] == 1 {
		return station{y, s.belowY}
	}
	return station{x, s.belowX}
}

// seen are the stations of the bound's axis i that a point of the table stands for.
func (b *bound) seen(i int, x, y float64, s side) []station {
	if b.free[i] == nil {
		return []station{b.coordinate(i, x, y, s)}
	}
	var out []station
	for _, stop := range b.free[i] {
		for _, f := range stop.sides {
			out = append(out, station{stop.v, f.below})
		}
	}
	return out
}

// rival is a bound in the candidate and what it was in the base, nil where there was none.
type rival struct{ now, was *bound }

// holdSurface judges the whole surface against bounds, and the base against the base's.
func (s *subject) holdSurface(rivals ...rival) error {
	if s.cand.err != nil {
		return s.cand.err
	}
	if s.bends(rivals) {
		return s.holdBoxes(rivals)
	}
	m := &mesh{rule: s.rule, quantity: s.t.Quantity, unit: s.t.Unit, axes: axesOf(s.t), x: s.cand.x, y: s.cand.y, rivals: rivals}
	var err error
	if m.lattice, err = s.lattice(rivals); err != nil {
		return err
	}
	m.xs, m.ys = m.lattice.x.stops(), m.lattice.y.stops()
	s.place(0, m.xs, rivals)
	s.place(1, m.ys, rivals)
	s.last = m
	return s.holdOn(m)
}

// holdOn judges the surface at the points of a mesh.
func (s *subject) holdOn(m *mesh) error {
	h := &held{subject: s, rivals: m.rivals, grew: make([][]int8, len(m.rivals))}
	if s.base != nil {
		if err := surfaces(s.cand, s.base); err != nil {
			s.detail = "the base could not be judged: " + err.Error()
		} else {
			h.base = s.base.grid
		}
	}
	h.stations = sync.OnceValues(func() ([]station, []station) { return h.finer(m.lattice, m.xs, m.ys) })
	each(m.xs, m.ys, h.point)
	if s.looked == 0 {
		return errPassed{"no point of it lies where the rule holds"}
	}
	return nil
}

// lattice is the breakpoints of the candidate, of the bounds and of where, joined.
func (s *subject) lattice(rivals []rival) (*lattice, error) {
	l := &lattice{}
	own := [2][]float64{s.cand.grid.X, s.cand.grid.Y}
	for i, r := range []*rail{&l.x, &l.y} {
		axis := axesOf(s.t)[i]
		r.index = indexed(axis)
		r.add(own[i])
		s.snapTo(i, own[i])
		r.where, r.ends = s.where[i], s.ends(i)
	}
	for _, v := range rivals {
		if err := v.now.joinInto(l, s.t); err != nil {
			return nil, err
		}
	}
	return l, nil
}

// joinInto adds the bound's breakpoints to the points that are judged.
func (b *bound) joinInto(l *lattice, t *definition.Table) error {
	axes := axesOf(t)
	rails := [2]*rail{&l.x, &l.y}
	for i, of := range [2]*[]float64{&b.grid.X, &b.grid.Y} {
		if b.to[i] < 0 {
			continue
		}
		to := rails[b.to[i]]
		own := slices.Clone(*of)
		for k, p := range own {
			own[k] = snap(p, to.axes[0])
		}
		*of = own
		if (to.index || b.index[i]) && !samePoints(surface.Join(*of, nil), surface.Join(to.axes[0], nil)) {
			return unjudged("the index axis of %s has other points than what limits the table, and is never interpolated", axes[b.to[i]].Quantity)
		}
		to.add(*of)
	}
	return nil
}

// snap puts a point that only rounding keeps from a breakpoint onto it, so that one operating
// point is not judged as two.
func snap(p float64, to []float64) float64 {
	near := float64(1e-12 * math.Abs(p))
	if k := sort.SearchFloat64s(to, p-near); k < len(to) && to[k] <= p+near {
		return to[k]
	}
	return p
}
