package limits

import (
	"witnessmark/tables/definition"
	"witnessmark/tables/surface"
)

// boundOf is the other table of one image as a limit, in this table's units; nil without an error
// where the base has none.
func (s *subject) boundOf(of whose) (*bound, error) {
	a := s.kind.other(s.rule)
	shift, err := spans(a.GetUnit(), valueUnit(s.t))
	if err != nil {
		return nil, err
	}
	b := &bound{to: [2]int{-1, -1}, ceiling: s.kind.name == "below", shift: shift * a.GetMargin()}
	if b.ceiling {
		b.shift = -b.shift
	}
	if err := s.known(a.GetTable()); err != nil {
		return nil, err
	}
	var other *surface.Decoded
	if read := s.tables(of); read != nil {
		other = read(a.GetTable())
	}
	if other == nil {
		if of == ofBase {
			return nil, nil
		}
		return nil, unjudged("the candidate lacks table %s", a.GetTable())
	}
	f, err := s.face(of, a.GetTable(), s.inOurUnits(other.Table))
	if err != nil {
		return nil, err
	}
	if f.err != nil && len(f.beyond) == 0 {
		return nil, f.err
	}
	b.of = other
	if err := s.sections(b, f); err != nil {
		return nil, err
	}
	return b, nil
}

// inOurUnits stands for another table, in this one's units: an axis keeps its own where this table has none of that quantity.
func (s *subject) inOurUnits(other *definition.Table) *definition.Table {
	want := &definition.Table{Quantity: s.t.Quantity, Unit: s.t.Unit, UnitText: s.t.UnitText}
	like := func(axis *definition.Axis) *definition.Axis {
		if axis == nil {
			return nil
		}
		if i := pairing(s.t, axis.Quantity); i >= 0 {
			axis = axisAt(s.t, i)
		}
		return &definition.Axis{Unit: axis.Unit, UnitText: axis.UnitText}
	}
	want.X, want.Y = like(other.X), like(other.Y)
	if more := beyondY(other); more != nil {
		want.Axes = []*definition.Axis{want.X, want.Y}
		for _, a := range more {
			want.Axes = append(want.Axes, like(a))
		}
	}
	return want
}

// sections makes a bound of a table: of its axes one that stands for this table's x or y is kept, one that stands for an axis
// of which a slice has one place is held there, and one that this table lacks is taken at its worst, inside where.
func (s *subject) sections(b *bound, f *face) error {
	all, codes, err := f.solid()
	if err != nil {
		return err
	}
	b.curved = all.Convert != nil && len(all.Values) > 1
	kept, n := [2]int{-1, -1}, 0
	places := make([][]surface.Span, len(all.Axes))
	for i, points := range all.Axes {
		places[i] = []surface.Span{{}}
		axis := axisAt(f.t, i)
		if axis == nil {
			continue
		}
		switch to := pairing(s.t, axis.Quantity); {
		case to < 0:
			places[i], err = s.free(axis, points, f.t.ID)
		case to >= flat:
			places[i][0], err = s.heldAt(axis, points, to)
		default:
			kept[n], b.to[n], b.index[n] = i, to, axis.Index
			n++
		}
		if err != nil {
			return err
		}
	}
	held, turn := make([]surface.Span, len(places)), make([]int, len(places))
	for {
		for i, k := range turn {
			held[i] = places[i][k]
		}
		b.among = append(b.among, all.Section(kept[0], kept[1], held))
		if codes != nil {
			b.codes = append(b.codes, codes.Section(kept[0], kept[1], held))
		}
		i := 0
		for ; i < len(turn); i++ {
			if turn[i]++; turn[i] < len(places[i]) {
				break
			}
			turn[i] = 0
		}
		if i == len(turn) {
			break
		}
	}
	b.grid, b.among = b.among[0], b.among[1:]
	if len(b.among) == 0 {
		b.among = nil
	}
	return nil
}

// free is every place of an axis that only the other table has where it can be worst.
func (s *subject) free(axis *definition.Axis, points []float64, id string) ([]surface.Span, error) {
	r := rail{index: axis.Index}
	r.add(points)
	if w := s.rule.GetWhere()[axis.Quantity]; w != nil && axis.Quantity != "" {
		var err error
		if r.where, err = stretchIn(axis.Quantity, w, axisUnit(axis)); err != nil {
			return nil, err
		}
		r.where.from, r.where.to = snap(r.where.from, points), snap(r.where.to, points)
		r.ends = r.where.ends()
	}
	var out []surface.Span
	for _, stop := range r.stops() {
		for _, f := range stop.sides {
			out = append(out, surface.PlaceFrom(points, f.v, f.below))
		}
	}
	if out == nil {
		return nil, errPassed{"table " + id + " has no point where the rule holds"}
	}
	return out, nil
}

// heldAt is where the slice under judgement lies along an axis of another table.
func (s *subject) heldAt(axis *definition.Axis, points []float64, to int) (surface.Span, error) {
	v := snap(s.cand.t.Slice.At[to-flat].Point, points)
	if axis.Index || axisAt(s.t, to).Index {
		at, ok := surface.PlaceExactly(points, v)
		if !ok {
			return at, unjudged("the index axis of %s has no point %v in what limits the table, and is never interpolated", axis.Quantity, v)
		}
		return at, nil
	}
	return surface.Place(points, v), nil
}
