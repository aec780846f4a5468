package signal

import (
	"fmt"

	"witnessmark/tables/definition"
	"witnessmark/tables/formula"
	"witnessmark/tables/units"
)

// signal is a signal's function, once for each view.
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
	o, err := v.set.open(t)
	if err != nil {
		return nil, err
	}
	at := &placed{table: t}
	for i, points := range o.axes() {
		k, err := v.coordinate(t, i, points)
		if err != nil {
			return nil, err
		}
		at.at = append(at.at, k)
	}
	at.value = v.space.lookupOf(o, at.at, &at.seen)
	at.value.table = at
	v.tables[t] = at
	return at.value, nil
}

func (v *View) coordinate(t *definition.Table, n int, points []float64) (coordinate, error) {
	if n >= len(t.Axes) {
		return coordinate{axis: points}, nil
	}
	axis := t.Axes[n]
	if t.Fed == nil {
		return coordinate{}, fmt.Errorf("no signal looks table %s up, so that nothing says where its %s comes from", t.ID, axis.Quantity)
	}
	var of *Function
	var err error
	switch feed := t.Fed[n]; {
	case feed.Curve != nil:
		if of, err = v.lookup(feed.Curve); err == nil {
			of = of.In(feed.Level)
		}
	case feed.Signal != nil:
		if of, err = v.signal(feed.Signal); err == nil {
			of = of.In(feed.Level)
		}
	default:
		of, err = v.space.Input(axis.Quantity, axis.Unit)
	}
	if err != nil {
		return coordinate{}, err
	}
	return v.space.coordinate(points, of, axis.Index), nil
}
