package signal

import (
	"fmt"

	"witnessmark/tables/definition"
	"witnessmark/tables/surface"
	"witnessmark/tables/units"
)

// Set is one image's tables, as signals look them up. Not safe for concurrent use.
type Set struct {
	lay      *definition.Layout
	table    func(id string) *surface.Decoded
	opened   map[string]*opened
	numbered bool // codes that are no value are some number
}

// Open takes a definition and its tables in one image; table gives nil for what the image lacks. A code that is no value
// makes what looks it up NaN.
func Open(lay *definition.Layout, table func(id string) *surface.Decoded) *Set {
	return &Set{lay: lay, table: table, opened: map[string]*opened{}}
}

// OpenNumbered is Open with some number in the place of each code that is no value, so that what lies beside one can be
// enclosed: Function.Valued says where a value is one.
func OpenNumbered(lay *definition.Layout, table func(id string) *surface.Decoded) *Set {
	s := Open(lay, table)
	s.numbered = true
	return s
}

func (s *Set) open(t *definition.Table) (*opened, error) {
	o := s.opened[t.ID]
	if o == nil {
		if d := s.table(t.ID); d == nil {
			o = &opened{err: fmt.Errorf("the image does not hold table %s", t.ID)}
		} else {
			o = openTable(d, s.numbered)
		}
		s.opened[t.ID] = o
	}
	return o, o.err
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
	at    []coordinate // along x, y, and the axes beyond; those that it has not are nowhere
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
	v.space.forget()
	for _, t := range v.tables {
		t.seen = false
	}
}
