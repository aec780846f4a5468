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
	among   []*surface.Grid  // others on the same axes, of which the worst counts
	codes   []*surface.Grid  // NaN where one of these touches a cell that is no value; nil for nowhere
	to      [2]int           // for its x and y: 0 the table's x, 1 its y, -1 neither
	index   [2]bool          // for its x and y: never interpolated
	of      *surface.Decoded // the table that it is, if it is one
	curved  bool             // between its breakpoints it is no straight line
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
	bx, by := b.coordinate(0, x, y, s), b.coordinate(1, x, y, s)
	return b.worst(func(g *surface.Grid) float64 { return at(g, bx.v, by.v, side{bx.below, by.below}) })
}

// on is the limit where rail x and rail y have these places of its axes.
func (b *bound) on(x, y surface.Span) float64 {
	if b.to[0] == 1 || b.to[1] == 0 {
		x, y = y, x
	}
	if b.among == nil {
		return b.moved(b.grid.On(x, y))
	}
	return b.worst(func(g *surface.Grid) float64 { return g.On(x, y) })
}

// worst is the one of all grids that leaves least room; what is no number is worse than any.
func (b *bound) worst(of func(g *surface.Grid) float64) float64 {
	worst := of(b.grid)
	for _, g := range b.among {
		v := of(g)
		if !surface.Finite(worst) {
			break
		}
		if !surface.Finite(v) || v < worst == b.ceiling {
			worst = v
		}
	}
	return b.moved(worst)
}

// lacks says whether the limit at a place comes of a cell that is no value, and lacksAt the same of a point.
func (b *bound) lacks(x, y surface.Span) bool {
	if b.to[0] == 1 || b.to[1] == 0 {
		x, y = y, x
	}
	return slices.ContainsFunc(b.codes, func(g *surface.Grid) bool { return math.IsNaN(g.On(x, y)) })
}

func (b *bound) lacksAt(x, y float64, s side) bool {
	bx, by := b.coordinate(0, x, y, s), b.coordinate(1, x, y, s)
	return slices.ContainsFunc(b.codes, func(g *surface.Grid) bool { return math.IsNaN(at(g, bx.v, by.v, side{bx.below, by.below})) })
}

func (b *bound) moved(v float64) float64 {
	if b.share != 0 {
		return v + float64(b.share*max(math.Abs(v), b.least))
	}
	return v + b.shift
}

// coordinate is a point of the table along the bound's axis i; any will do where there is none.
func (b *bound) coordinate(i int, x, y float64, s side) station {
	if b.to[i] == 1 {
		return station{y, s.belowY}
	}
	return station{x, s.belowX}
}

// rival is a bound in the candidate and what it was in the base, nil where there was none.
type rival struct{ now, was *bound }

// holdSurface judges the whole surface against bounds, and the base against the base's.
func (s *subject) holdSurface(rivals ...rival) error {
	if s.cand.err != nil {
		return s.cand.err
	}
	s.codes += s.cand.patches()
	if s.bends(rivals) {
		return s.holdBoxes(rivals)
	}
	m := &mesh{rule: s.rule, quantity: s.t.Quantity, unit: s.t.Unit, axes: axesOf(s.t), slice: s.cand.t.Slice, x: s.cand.x, y: s.cand.y, rivals: rivals}
	var err error
	if m.lattice, err = s.lattice(rivals); err != nil {
		return err
	}
	m.xs, m.ys = m.lattice.x.stops(), m.lattice.y.stops()
	s.place(0, m.xs, rivals)
	s.place(1, m.ys, rivals)
	s.flatten(m)
	if len(s.meshes) == mostMeshes {
		clear(s.meshes)
	}
	s.meshes[m.axes] = m
	return s.holdOn(m)
}

// holdOn judges the surface at the points of a mesh.
func (s *subject) holdOn(m *mesh) error {
	computed := s.flat(m)
	if computed && s.passesMesh(m) {
		return nil
	}
	h := &held{subject: s, rivals: m.rivals, grew: make([][]int8, len(m.rivals))}
	if s.was() != nil {
		if err := surfaces(s.cand, s.was()); err != nil {
			s.detail = "the base could not be judged: " + err.Error()
		} else {
			h.base = s.was().grid
		}
	}
	h.stations = sync.OnceValues(func() ([]station, []station) { return h.finer(m.lattice, m.xs, m.ys) })
	if computed {
		h.points(m)
	} else {
		each(m.xs, m.ys, h.point)
	}
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
	grids := slices.Concat([]*surface.Grid{b.grid}, b.among, b.codes)
	for i, of := range [2][]float64{b.grid.X, b.grid.Y} {
		if b.to[i] < 0 {
			continue
		}
		to := rails[b.to[i]]
		own := slices.Clone(of)
		for k, p := range own {
			own[k] = snap(p, to.axes[0])
		}
		for _, g := range grids {
			*[2]*[]float64{&g.X, &g.Y}[i] = own
		}
		if (to.index || b.index[i]) && !samePoints(surface.Join(own, nil), surface.Join(to.axes[0], nil)) {
			return unjudged("the index axis of %s has other points than what limits the table, and is never interpolated", axes[b.to[i]].Quantity)
		}
		to.add(own)
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
