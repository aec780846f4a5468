package definition

import (
	"errors"
	"fmt"
	"maps"
	"slices"
	"strings"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/bounded"
	"witnessmark/tables/formula"
	"witnessmark/tables/units"
)

// resolver ties signals to what they refer to, each after those that it needs.
type resolver struct {
	*compiler
	paths  map[*Signal]string // where they are written
	place  map[any]int        // of a table, signal or input in its list
	needs  map[*Signal]*dependence
	ranges map[*Signal]reach
	bad    map[*Signal]bool
	trail  []*Signal // those under way, each needed by the one before
}

// dependence is the places of all that a signal depends on.
type dependence struct{ tables, signals, inputs map[int]bool }

func (c *compiler) resolveSignals(paths map[*Signal]string) {
	if len(c.lay.Signals) == 0 {
		return
	}
	r := &resolver{compiler: c, paths: paths, bad: map[*Signal]bool{}, place: map[any]int{}, needs: map[*Signal]*dependence{}, ranges: map[*Signal]reach{}}
	for i, t := range c.lay.Tables {
		r.place[t] = i
	}
	for i, s := range c.lay.Signals {
		r.place[s] = i
	}
	for i, in := range c.lay.Inputs {
		r.place[in] = i
	}
	for _, s := range c.lay.Signals {
		c.wrong(r.signal(s))
	}
}

// signal resolves one whose formula is read. Errors name its place, not that of whoever needs it.
func (r *resolver) signal(s *Signal) error {
	if r.needs[s] != nil {
		return nil
	}
	if r.bad[s] {
		return errLost
	}
	r.trail = append(r.trail, s)
	defer func() { r.trail = r.trail[:len(r.trail)-1] }()
	need := &dependence{map[int]bool{}, map[int]bool{}, map[int]bool{}}
	lost := false
	err := s.Value.Walk(func(n *formula.Node) error {
		err := r.refers(need, n)
		if errors.Is(err, errLost) {
			lost, err = true, nil
		}
		return err
	})
	if err == nil && lost {
		err = errLost
	}
	if err == nil {
		err = r.divisions(s)
	}
	if err == nil && len(need.inputs) > bounded.MaxInputs {
		err = &formula.Error{At: s.Value.At, Problem: fmt.Sprintf("it depends on %d inputs", len(need.inputs)), Allowed: fmt.Sprintf("at most %d", bounded.MaxInputs)}
	}
	if err != nil {
		r.bad[s] = true
	}
	if _, ours := err.(*formula.Error); ours {
		return named(r.inFormula(r.paths[s], err), "signal", s.ID)
	}
	if err != nil {
		return err
	}
	r.needs[s] = need
	s.Tables, s.Signals, s.Inputs = pick(r.lay.Tables, need.tables), pick(r.lay.Signals, need.signals), pick(r.lay.Inputs, need.inputs)
	return nil
}

func (r *resolver) refers(need *dependence, n *formula.Node) error {
	switch n.Kind {
	case formula.Input:
		return r.input(need, n)
	case formula.Signal:
		return r.other(need, n, r.lay.SignalByID[n.Name])
	case formula.Table:
		return r.table(need, n, r.lay.ByID[n.Name])
	}
	return nil
}

func pick[T any](all []T, places map[int]bool) []T {
	var out []T
	for _, i := range slices.Sorted(maps.Keys(places)) {
		out = append(out, all[i])
	}
	return out
}

func (r *resolver) input(need *dependence, n *formula.Node) error {
	in := r.lay.InputOf(n.Name)
	if in == nil && r.lost["quantity "+n.Name] {
		return errLost
	}
	if in == nil {
		names := make([]string, len(r.lay.Inputs))
		for i, in := range r.lay.Inputs {
			names[i] = in.Quantity
		}
		return &formula.Error{At: n.At, Problem: fmt.Sprintf("%.60q is not among the inputs", n.Name), Allowed: orNone(names)}
	}
	need.inputs[r.place[in]] = true
	return nil
}

func orNone(names []string) string {
	if len(names) == 0 {
		return "none, as there are none"
	}
	return listed(names)
}

// other adds a signal that is needed, and all that it needs.
func (r *resolver) other(need *dependence, n *formula.Node, s *Signal) error {
	if s == nil && r.lost["signal "+n.Name] {
		return errLost
	}
	if s == nil {
		names := make([]string, len(r.lay.Signals))
		for i, s := range r.lay.Signals {
			names[i] = s.ID
		}
		return &formula.Error{At: n.At, Problem: fmt.Sprintf("%.60q is no signal", n.Name), Allowed: orNone(names)}
	}
	if i := slices.Index(r.trail, s); i >= 0 {
		var circle []string
		for _, s := range append(r.trail[i:len(r.trail):len(r.trail)], s) {
			circle = append(circle, s.ID)
		}
		return &formula.Error{At: n.At, Problem: "it needs itself: " + strings.Join(circle, ", "), Allowed: "no circles"}
	}
	if err := r.signal(s); err != nil {
		return err
	}
	need.signals[r.place[s]] = true
	maps.Copy(need.tables, r.needs[s].tables)
	maps.Copy(need.signals, r.needs[s].signals)
	maps.Copy(need.inputs, r.needs[s].inputs)
	return nil
}

// table adds a table that is needed, and what supplies its axes.
func (r *resolver) table(need *dependence, n *formula.Node, t *Table) error {
	if t == nil && r.lost["table "+n.Name] {
		return errLost
	}
	if t == nil {
		return &formula.Error{At: n.At, Problem: fmt.Sprintf("%.60q is no table", n.Name), Allowed: orNone([]string{r.lay.TableIDs()})}
	}
	if need.tables[r.place[t]] {
		return nil
	}
	need.tables[r.place[t]] = true
	if t.Kind == "text" {
		return &formula.Error{At: n.At, Problem: fmt.Sprintf("table %s holds text", t.ID), Allowed: "tables of numbers"}
	}
	fed := make([]*Feed, len(t.Axes))
	for i, axis := range t.Axes {
		if t.Cells.Conv.Labels != nil && !axis.Index {
			return &formula.Error{At: n.At, Problem: fmt.Sprintf("table %s holds labels, which have no value between its breakpoints", t.ID), Allowed: "labels without an axis, or over an index axis"}
		}
		feed, err := r.feed(t, n, axis, t.said(i).GetFrom())
		if err != nil {
			return err
		}
		fed[i] = feed
		switch {
		case feed.Input != nil:
			need.inputs[r.place[feed.Input]] = true
		case feed.Curve != nil:
			err = r.table(need, n, feed.Curve)
		default:
			err = r.other(need, n, feed.Signal)
		}
		if err != nil {
			return err
		}
	}
	t.Fed = fed
	return nil
}

// said is what the definition says of an axis where the table has it.
func (t *Table) said(i int) *calibrationv1.TableAxis { return AxesOf(t.Source)[i] }

// feed finds what supplies an axis: the curve that it is looked up through, the signal that it names, or the only one that
// feeds its quantity, or the input.
func (r *resolver) feed(t *Table, n *formula.Node, axis *Axis, from string) (*Feed, error) {
	if r.lost["by "+axis.ID] {
		return nil, errLost
	}
	if axis.By != nil {
		level, err := throughCurve(axis)
		return &Feed{Curve: axis.By, Level: level}, err
	}
	if axis.Quantity == "" {
		return nil, &formula.Error{At: n.At, Problem: fmt.Sprintf("table %s has an axis without a quantity, which nothing supplies", t.ID), Allowed: "an axis of an input's quantity, or of one that a signal feeds"}
	}
	if from == "" {
		from = axis.From
	}
	f := &Feed{Signal: r.lay.SignalByID[from], Input: r.lay.InputOf(axis.Quantity)}
	feeders := r.lay.Feeders(axis.Quantity)
	switch {
	case f.Signal != nil:
	case r.lost["quantity "+axis.Quantity]:
		return nil, errLost
	case len(feeders) > 1:
		return nil, &formula.Error{At: n.At, Problem: fmt.Sprintf("table %s has an axis of %s, which several signals feed", t.ID, axis.Quantity), Allowed: "from: with one of " + r.feeding(axis.Quantity)}
	case len(feeders) == 1:
		f.Signal = feeders[0]
	case f.Input == nil:
		return nil, &formula.Error{At: n.At, Problem: fmt.Sprintf("table %s has an axis of %s, which nothing supplies", t.ID, axis.Quantity), Allowed: "an axis of an input's quantity, or of one that a signal feeds"}
	}
	if axis.UnitText != "" {
		return nil, &formula.Error{At: n.At, Problem: fmt.Sprintf("table %s, axis of %s: its unit is free text, which does not convert", t.ID, axis.Quantity), Allowed: "an axis with a unit"}
	}
	quantity, unit := axis.Quantity, ""
	if f.Signal != nil {
		f.Input, unit = nil, f.Signal.Unit
	} else {
		unit = f.Input.Unit
	}
	var err error
	if f.Level, err = units.BetweenQuantities(quantity, unit, quantity, axis.Unit); err != nil {
		return nil, &formula.Error{At: n.At, Problem: fmt.Sprintf("table %s, axis of %s: %v", t.ID, quantity, err)}
	}
	return f, nil
}
