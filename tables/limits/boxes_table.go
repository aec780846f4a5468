package limits

import (
	"slices"

	"witnessmark/tables/bounded"
	"witnessmark/tables/definition"
	"witnessmark/tables/formula"
	"witnessmark/tables/signal"
	"witnessmark/tables/surface"
	"witnessmark/tables/units"
)

// bends says whether something of what is judged runs in no straight line between its breakpoints.
func (s *subject) bends(rivals []rival) bool {
	bends := s.cand.curved || s.mayBend() && s.was() != nil && s.was().curved
	for _, r := range rivals {
		bends = bends || r.now.curved || r.was != nil && r.was.curved || r.now.share != 0
	}
	return bends
}

// holdBoxes judges a surface against bounds over boxes of its axes.
func (s *subject) holdBoxes(rivals []rival) error {
	if _, err := s.lattice(rivals); err != nil { // which puts what is almost one breakpoint on one
		return err
	}
	b := &boxes{subject: s, space: signal.NewSpace(nil)}
	value, err := b.space.Table(s.cand.d)
	if err != nil {
		return unjudged("%v", err)
	}
	b.value = value
	if b.step, err = value.RawStep(); err != nil { // it goes in even steps
		b.step = func(*bounded.Box) float64 { return 0 }
		if !s.t.Cells.Float {
			b.step = func(*bounded.Box) float64 { return s.t.Cells.Conv.Step() }
		}
	}
	if s.was() != nil {
		if why := surfaces(s.cand, s.was()); why != nil {
			s.detail = "the base could not be judged: " + why.Error()
		} else if b.base, err = s.tableIn(b.space, s.was().d); err != nil {
			return err
		}
		b.moved = b.rawMoved()
	}
	var edges []edge
	for _, r := range rivals {
		e, err := s.edge(b.space, r)
		if err != nil {
			return err
		}
		edges = append(edges, e)
	}
	if b.areas, err = s.areas(b.space); err != nil {
		return err
	}
	b.passCodes(edges)
	areas := b.areas
	for i, e := range edges {
		b.areas = areas
		if from := rivals[i].now; e.still && from.of != nil && sameMeaning(s.cand.t, from.of.Table) {
			b.areas = b.whereRawMoved(areas, from.grid.Raw())
		}
		b.hold(e)
	}
	if s.looked == 0 {
		return errPassed{"no point of it lies where the rule holds"}
	}
	return nil
}

// passCodes leaves out what is interpolated from a code that is no value, and holds nothing against the base where that is.
func (b *boxes) passCodes(edges []edge) {
	if len(b.areas) == 0 {
		return
	}
	of, was := []*signal.Function{b.value.(*signal.Function)}, []*signal.Function{}
	if b.base != nil {
		was = append(was, b.base.(*signal.Function))
	}
	for _, e := range edges {
		of = append(of, e.now)
		if e.was != nil {
			was = append(was, e.was)
		}
	}
	cells := b.areas[0].cells
	if valued := signal.Whole(cells, of...); valued != nil {
		for i := range b.areas {
			b.areas[i].only = both(b.areas[i].only, valued)
		}
	}
	valued := signal.Whole(cells, was...)
	if valued == nil {
		return
	}
	var out []area
	for _, a := range b.areas {
		against, fresh := a, a
		against.only, fresh.only, fresh.fresh = both(a.only, valued), both(a.only, func(index []int) bool { return !valued(index) }), true
		out = append(out, against, fresh)
	}
	b.areas = out
}

// both is where two hold; nil is everywhere.
func both(a, b func(index []int) bool) func(index []int) bool {
	if a == nil {
		return b
	}
	return func(index []int) bool { return a(index) && b(index) }
}

// edge is a bound as a function, and what it was; one function if both are the same.
func (s *subject) edge(space *signal.Space, r rival) (edge, error) {
	e := edge{ceiling: r.now.ceiling, still: r.now.still}
	var err error
	if e.now, err = s.limitIn(space, r.now); err != nil || r.was == nil {
		return e, err
	}
	if e.was = e.now; r.was != r.now && !sameTable(r.was.of, r.now.of) {
		e.was, err = s.limitIn(space, r.was)
	}
	return e, err
}

// sameTable says whether a table is in two images what it is in one.
func sameTable(a, b *surface.Decoded) bool {
	p, q := a.Table, b.Table
	return sameMeaning(p, q) && p.Quantity == q.Quantity && sameAxis(p.X, q.X) && sameAxis(p.Y, q.Y) &&
		axisUnit(p.X) == axisUnit(q.X) && axisUnit(p.Y) == axisUnit(q.Y) && slices.Equal(a.Bits, b.Bits) && samePoints(a.X, b.X) && samePoints(a.Y, b.Y) &&
		slices.EqualFunc(a.Beyond(), b.Beyond(), samePoints)
}

// tableIn is a table as a function, in the unit of the one that is judged.
func (s *subject) tableIn(space *signal.Space, d *surface.Decoded) (*signal.Function, error) {
	t := d.Table
	f, err := space.TableWith(d, func(i int) *signal.Function { return s.heldIn(space, t, i) })
	if err != nil {
		return nil, unjudged("%v", err)
	}
	to, err := units.BetweenQuantities(d.Table.Quantity, d.Table.Unit, s.t.Quantity, s.t.Unit)
	if err != nil {
		return nil, err
	}
	return f.In(to), nil
}

// heldIn is the place of the slice under judgement along an axis of another table, in its unit; nil where it has none.
func (s *subject) heldIn(space *signal.Space, other *definition.Table, i int) *signal.Function {
	axis := axisAt(other, i)
	to := pairing(s.t, axis.Quantity)
	if to < flat {
		return nil
	}
	level, err := levels(axis.Quantity, axisUnit(axisAt(s.t, to)), axis.Quantity, axisUnit(axis))
	if err != nil {
		return nil // the limits do not fit then, which was told before
	}
	return space.Number(level.of(s.cand.t.Slice.At[to-flat].Point))
}

// limitIn is a bound as a function of the table's axes, and of those that only the bound has.
func (s *subject) limitIn(space *signal.Space, b *bound) (*signal.Function, error) {
	var f *signal.Function
	if b.of != nil {
		var err error
		if f, err = s.tableIn(space, b.of); err != nil {
			return nil, err
		}
	} else {
		var at [2]*signal.Function
		for i, to := range b.to {
			if to < 0 {
				continue
			}
			axis := axesOf(s.t)[to]
			var err error
			if at[i], err = space.Input(axis.Quantity, axis.Unit); err != nil {
				return nil, err
			}
		}
		f = space.Lookup(b.grid, at[0], at[1])
	}
	by := space.Number(b.shift)
	if b.share != 0 {
		size := signal.Apply(formula.Max, f, signal.Apply(formula.Neg, f), space.Number(b.least))
		by = signal.Apply(formula.Mul, size, space.Number(b.share))
	}
	return signal.Apply(formula.Add, f, by), nil
}
