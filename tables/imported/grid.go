package imported

import (
	"fmt"
	"strings"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/a2l"
	"witnessmark/tables/definition"
)

// grid is a table of numbers.
func (im *importer) grid(t *calibrationv1.Table, c *a2l.Characteristic, l *a2l.Layout, values int, b *built) error {
	e := l.Elements[values]
	if strings.HasPrefix(e.Order, "ALTERNATE") {
		return fmt.Errorf("%s: values between breakpoints are not read", e.Order)
	}
	sides, err := im.sides(c, l)
	if err != nil {
		return err
	}
	var counts [5]uint64
	var counted [5]bool
	var dims []uint64
	for i, s := range sides {
		counts[i], dims = s.count, append(dims, s.count)
		counted[i] = s.counted
	}
	cells, err := product(dims)
	if err != nil {
		return err
	}
	if err := im.moves(l, counted); err != nil {
		return err
	}
	rec, err := im.record(l, c.Address, counts, cells)
	if err != nil {
		return err
	}
	for i, s := range sides {
		if s.inside {
			if err := im.inside(s, rec, i, c); err != nil {
				return fmt.Errorf("axis %d: %w", i+1, err)
			}
		}
	}
	if err := im.cells(t, c, e, rec.at[values], b); err != nil {
		return err
	}
	if e.Order == "COLUMN_DIR" && len(sides) > 1 {
		t.Order = "y_fastest"
	}
	if err := packed(t, l, sides); err != nil {
		return err
	}
	turned(t, sides, cells, dataTypes[e.Type].size)
	join(t, sides)
	return nil
}

// sides are the axes of a table; those of a block of values are places.
func (im *importer) sides(c *a2l.Characteristic, l *a2l.Layout) ([]*side, error) {
	if c.Type == "VAL_BLK" {
		return blockSides(c.Dims)
	}
	var out []*side
	taken := map[string]bool{"": true}
	for i, d := range c.Axes {
		quantity := im.quantities[d.Input]
		if a := im.pts[d.Ref]; d.Kind == "COM_AXIS" && quantity == "" && a != nil && d.Input == noInput {
			quantity = im.quantities[a.Input]
		}
		if taken[quantity] {
			quantity = "" // a table has one axis of a quantity
		}
		taken[quantity] = true
		s, err := im.side(c, l, i, quantity)
		if err != nil {
			return nil, err
		}
		out = append(out, s)
	}
	return out, nil
}

func blockSides(dims []uint64) (out []*side, err error) {
	if len(dims) == 0 {
		return nil, fmt.Errorf("how many values it holds is not said; allowed: NUMBER or MATRIX_DIM")
	}
	for len(dims) > 0 && dims[len(dims)-1] == 1 {
		dims = dims[:len(dims)-1]
	}
	for _, n := range dims {
		if n == 0 || n > maxPoints {
			return nil, fmt.Errorf("a dimension of %d; allowed: 1 to %d", n, maxPoints)
		}
		out = append(out, &side{count: n, axis: &calibrationv1.TableAxis{Points: places(n), Index: true}})
	}
	return out, nil
}

// inside completes an axis whose breakpoints lie in the table's record.
func (im *importer) inside(s *side, rec *record, i int, c *a2l.Characteristic) error {
	d := *s.descr
	if d.ByteOrder == "" {
		d.ByteOrder = c.ByteOrder
	}
	stored, conv, m, err := im.ownPoints(rec, i, &d)
	if err != nil {
		return err
	}
	s.axis.Stored, s.axis.Conversion = stored, conv
	im.unit(s.axis, d.Unit, m)
	if m.left != "" || m.labels != nil {
		im.say(d.Place, c.Name, true, "breakpoints of axis %d stay numbers, without their texts", i+1)
	}
	return nil
}

// cells say how values are stored and what they mean.
func (im *importer) cells(t *calibrationv1.Table, c *a2l.Characteristic, e a2l.Element, at uint64, b *built) (err error) {
	if t.Stored, err = im.stored(c.Place, at, e.Type, e.Address, c.ByteOrder); err != nil {
		return err
	}
	if err := mask(t.Stored, e.Type, c.Mask); err != nil {
		return err
	}
	r := rawOf(t.Stored, e.Type)
	m, err := im.meaning(c.Method, r)
	if err != nil {
		return err
	}
	t.Conversion, t.Stored.NotAValue = m.conv, m.codes
	if m.left != "" {
		im.say(c.Place, c.Name, true, "%s", m.left)
	}
	if len(m.conv.GetLabels()) == 0 {
		text := m.unit
		if c.Unit.Given {
			text = c.Unit.Text
		}
		t.Unit, t.UnitText = unitOf(text)
		b.limits = declaredBy(c, m, r)
	}
	return nil
}

// packed says whether what lies behind breakpoints that are not used moves up.
func packed(t *calibrationv1.Table, l *a2l.Layout, sides []*side) error {
	varies, rows := false, false
	slowest := len(sides) - 1
	if t.GetOrder() != "" && slowest == 1 {
		slowest = 0
	}
	for i, s := range sides {
		varies = varies || s.counted && (len(sides) > 1 || s.inside)
		rows = rows || s.counted && i != slowest
	}
	switch {
	case !varies || l.Static || l.StaticAt && !rows:
	case l.StaticAt:
		return fmt.Errorf("STATIC_ADDRESS_OFFSETS: rows that close up where parts stay are not read")
	case t.Stored.GetPointer() != "":
		return fmt.Errorf("it lies where a pointer leads that moves with breakpoints that are not used")
	default:
		t.Stored.Layout = "packed"
	}
	return nil
}

// turned has a table run down from its end where all of its breakpoints do. Where only some do, it is read in the order of
// its bytes, which pairs the same values with the same breakpoints.
func turned(t *calibrationv1.Table, sides []*side, cells, size uint64) {
	for _, s := range sides {
		if !s.inside || !s.decr || s.counted || s.axis.GetStored().GetPointer() != "" || t.Stored.GetPointer() != "" {
			return
		}
	}
	if len(sides) == 0 {
		return
	}
	t.Stored.Reversed = true
	t.Stored.Address += uint32((cells - 1) * size)
	for _, s := range sides {
		stored := s.axis.Stored
		stored.Reversed = true
		stored.Address += uint32((s.count - 1) * definition.SizeOf(stored.GetType()))
	}
}

// join gives a table its axes.
func join(t *calibrationv1.Table, sides []*side) {
	if len(sides) > 2 {
		for _, s := range sides {
			t.Axes = append(t.Axes, s.axis)
		}
		return
	}
	for i, to := range []**calibrationv1.TableAxis{&t.X, &t.Y}[:len(sides)] {
		*to = sides[i].axis
	}
}
