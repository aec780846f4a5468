package signal

import (
	"errors"
	"fmt"

	"witnessmark/tables/definition"
	"witnessmark/tables/formula"
	"witnessmark/tables/surface"
	"witnessmark/tables/units"
)

// Set is one image's tables, as signals look them up. Not safe for concurrent use.
type Set struct {
	lay   *definition.Layout
	table func(id string) *surface.Decoded
	grids map[string]*grid
}

// grid is a table ready to be looked up, or why it cannot be.
type grid struct {
	*surface.Enclosed
	err error
}

// Open takes a definition and its tables in one image; table gives nil for what the image lacks.
func Open(lay *definition.Layout, table func(id string) *surface.Decoded) *Set {
	return &Set{lay: lay, table: table, grids: map[string]*grid{}}
}

func (s *Set) grid(t *definition.Table) (*surface.Enclosed, error) {
	g := s.grids[t.ID]
	if g == nil {
		g = &grid{}
		if d := s.table(t.ID); d == nil {
			g.err = fmt.Errorf("the image does not hold table %s", t.ID)
		} else {
			g.Enclosed, g.err = enclosed(d)
		}
		s.grids[t.ID] = g
	}
	return g.Enclosed, g.err
}

// enclosed is a table's surface before a rational conversion; of labels, the raw values.
func enclosed(d *surface.Decoded) (*surface.Enclosed, error) {
	if d.Values == nil {
		raw := *d
		raw.Values = make([]float64, len(d.Bits))
		for i, b := range d.Bits {
			raw.Values[i] = d.Table.Cells.Number(b)
		}
		d = &raw
	}
	g, err := d.Grid()
	if err != nil {
		return nil, err
	}
	return g.Raw().Enclose(), nil
}

// View is a set's functions in one space.
type View struct {
	set     *Set
	space   *Space
	tables  map[*definition.Table]*placed
	signals map[*definition.Signal]*Function
}

// placed is a table in a space.
type placed struct {
	table *definition.Table
	value *Function
	x, y  coordinate
	seen  bool
}

// In looks at the set's tables from a space. Views of several images in one space share its inputs and cells.
func (s *Set) In(space *Space) *View {
	return &View{s, space, map[*definition.Table]*placed{}, map[*definition.Signal]*Function{}}
}

// Signal is a signal's value in its unit. The error says what cannot be looked up in this image.
func (v *View) Signal(id string) (*Function, error) {
	s := v.set.lay.SignalByID[id]
	if s == nil {
		return nil, fmt.Errorf("definition %s has no signal %q", v.set.lay.Name, id)
	}
	for _, in := range s.Inputs { // in the definition's order, whatever the formula's
		if _, _, err := v.space.input(in.Quantity, in.Unit); err != nil {
			return nil, err
		}
	}
	f, err := v.signal(s)
	if err != nil {
		return nil, fmt.Errorf("signal %s: %w", id, err)
	}
	return f, nil
}

// Table is a table's value in its unit, its axes supplied as a signal's are. It is an error for a table that no signal
// looks up: see Space.Table.
func (v *View) Table(id string) (*Function, error) {
	t := v.set.lay.ByID[id]
	if t == nil {
		return nil, fmt.Errorf("definition %s has no table %q", v.set.lay.Name, id)
	}
	return v.lookup(t)
}

// Quantity is a quantity at the operating point, in the unit: what the signal that feeds it gives of this image's tables,
// or the input's own value.
func (v *View) Quantity(quantity, unit string) (*Function, error) {
	feeders := v.set.lay.Feeders(quantity)
	switch len(feeders) {
	case 0:
		return v.space.Input(quantity, unit)
	case 1:
		level, err := units.BetweenQuantities(quantity, feeders[0].Unit, quantity, unit)
		if err != nil {
			return nil, err
		}
		f, err := v.Signal(feeders[0].ID)
		if err != nil {
			return nil, err
		}
		return f.In(level), nil
	}
	return nil, fmt.Errorf("%s is fed by several signals: %s and %s", quantity, feeders[0].ID, feeders[1].ID)
}

// Looked lists the tables that were looked at since the last Forget, in the definition's order: a branch that was not
// taken was not looked at.
func (v *View) Looked() []string {
	var out []string
	for _, t := range v.set.lay.Tables {
		if at := v.tables[t]; at != nil && at.seen {
			out = append(out, t.ID)
		}
	}
	return out
}

// Forget begins to note anew what is looked at.
func (v *View) Forget() {
	for _, t := range v.tables {
		t.seen = false
	}
}

func (v *View) signal(s *definition.Signal) (*Function, error) {
	if f := v.signals[s]; f != nil {
		return f, nil
	}
	f, err := v.compile(s.Value)
	if err != nil {
		return nil, err
	}
	switch f.op.(type) {
	case *direct: // shared by whatever reads the input
		f = v.space.function(f.op, f)
	default:
		if f.table != nil || f.signal != nil { // it is another name for something that has one
			f = v.space.function(&level{f, units.Converter{Factor: 1}}, f)
		}
	}
	f.signal = s
	v.signals[s] = f
	return f, nil
}

// compile turns a formula into a function.
func (v *View) compile(n *formula.Node) (*Function, error) {
	switch n.Kind {
	case formula.Number:
		return v.space.Number(n.Value), nil
	case formula.Input:
		in := v.set.lay.InputOf(n.Name)
		return v.space.Input(in.Quantity, in.Unit)
	case formula.Signal:
		return v.signal(v.set.lay.SignalByID[n.Name])
	case formula.Table:
		return v.lookup(v.set.lay.ByID[n.Name])
	case formula.Choose:
		when, err := v.condition(n.Args[0])
		if err != nil {
			return nil, err
		}
		args, err := v.all(n.Args[1:])
		if err != nil {
			return nil, err
		}
		return choice(when, args[0], args[1]), nil
	}
	args, err := v.all(n.Args)
	if err != nil {
		return nil, err
	}
	return Apply(n.Kind, args...), nil
}

func (v *View) all(nodes []*formula.Node) ([]*Function, error) {
	args := make([]*Function, len(nodes))
	var err error
	for i, n := range nodes {
		if args[i], err = v.compile(n); err != nil {
			return nil, err
		}
	}
	return args, nil
}

func (v *View) condition(n *formula.Node) (condition, error) {
	if n.Kind != formula.And && n.Kind != formula.Or && n.Kind != formula.Not {
		args, err := v.all(n.Args)
		if err != nil {
			return nil, err
		}
		return comparison(n.Kind, args[0], args[1]), nil
	}
	a, err := v.condition(n.Args[0])
	if err != nil || n.Kind == formula.Not {
		return &not{a}, err
	}
	b, err := v.condition(n.Args[1])
	if err != nil || n.Kind == formula.And {
		return &and{a, b}, err
	}
	return or(a, b), nil
}

// lookup is a table at the operating point.
func (v *View) lookup(t *definition.Table) (*Function, error) {
	if at := v.tables[t]; at != nil {
		return at.value, nil
	}
	g, err := v.set.grid(t)
	if err != nil {
		return nil, err
	}
	at := &placed{table: t}
	if at.x, err = v.coordinate(t, t.X, t.XFeed, g.X); err != nil {
		return nil, err
	}
	if at.y, err = v.coordinate(t, t.Y, t.YFeed, g.Y); err != nil {
		return nil, err
	}
	at.value = v.space.converted(t, v.space.lookup(g, at.x, at.y, &at.seen))
	at.value.table = at
	v.tables[t] = at
	return at.value, nil
}

func (v *View) coordinate(t *definition.Table, axis *definition.Axis, feed *definition.Feed, points []float64) (coordinate, error) {
	if axis == nil {
		return coordinate{axis: points}, nil
	}
	if feed == nil {
		return coordinate{}, fmt.Errorf("no signal looks table %s up, so that nothing says where its %s comes from", t.ID, axis.Quantity)
	}
	var of *Function
	var err error
	if feed.Signal != nil {
		if of, err = v.signal(feed.Signal); err == nil {
			of = of.In(feed.Level)
		}
	} else {
		of, err = v.space.Input(axis.Quantity, axis.Unit)
	}
	if err != nil {
		return coordinate{}, err
	}
	return v.space.coordinate(points, of, axis.Index), nil
}

// converted is a table's value out of its surface.
func (s *Space) converted(t *definition.Table, f *Function) *Function {
	if t.Cells.Conv.Rational {
		return s.rational(f, t.Cells)
	}
	return f
}

// Table is a table by itself, its own axes being the inputs. The error says why it cannot be interpolated.
func (s *Space) Table(d *surface.Decoded) (*Function, error) {
	g, err := enclosed(d)
	if err != nil {
		return nil, err
	}
	t := d.Table
	var at [2]coordinate
	for i, side := range []struct {
		axis   *definition.Axis
		points []float64
	}{{t.X, g.X}, {t.Y, g.Y}} {
		at[i] = coordinate{axis: side.points}
		if side.axis == nil {
			continue
		}
		of, err := s.Input(side.axis.Quantity, side.axis.Unit)
		if err != nil {
			return nil, err
		}
		at[i] = s.coordinate(side.points, of, side.axis.Index)
	}
	return s.converted(t, s.lookup(g, at[0], at[1], new(bool))), nil
}

// RawStep is what one raw step makes of a rational table's value in a box, in its unit: the greater of those at its least
// and its greatest raw value; 0 where that is no number, or raw values are no whole ones. Of another function it is an error.
func (f *Function) RawStep() (func(box *Box) float64, error) {
	o, ok := f.op.(*rational)
	if !ok {
		return nil, errors.New("only a table with a rational conversion has raw steps of its own")
	}
	return func(box *Box) float64 {
		f.space.epoch++
		return o.rawStep(o.raw.over(box, box).Interval)
	}, nil
}

// Step is what a finding on a signal must exceed by half: the definition's own, or the coarsest factor of the tables of
// its unit that its formula names; 0 where there is none.
func Step(lay *definition.Layout, s *definition.Signal) float64 {
	step := s.Step
	if step > 0 {
		return step
	}
	_ = s.Value.Walk(func(n *formula.Node) error {
		if n.Kind == formula.Table {
			if t := lay.ByID[n.Name]; t.Unit == s.Unit && t.Cells.Conv.Affine() {
				step = max(step, t.Cells.Conv.Step())
			}
		}
		return nil
	})
	return step
}
