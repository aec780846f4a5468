package imported

import (
	"fmt"
	"slices"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/a2l"
)

// sharedKey is what makes two uses of the same breakpoints one axis.
type sharedKey struct {
	pts, method, quantity string
	unit                  a2l.Unit
}

type sharedAxis struct {
	axis    *calibrationv1.Axis
	from    *a2l.AxisPts
	count   uint64
	counted bool
	why     error
}

// axisPts is the shared axis that a table names. Its own description says where it lies, the table's what it means.
func (im *importer) axisPts(d *a2l.AxisDescr, quantity string) (*sharedAxis, error) {
	a := im.pts[d.Ref]
	if a == nil {
		return nil, fmt.Errorf("there is no such object")
	}
	deposit := d.Deposit
	if deposit == "" {
		deposit = a.Deposit
	}
	return im.share(a, sharedKey{a.Name, d.Method, quantity, d.Unit}, deposit)
}

// alone brings breakpoints that no table names.
func (im *importer) alone(a *a2l.AxisPts) {
	for key, s := range im.shared {
		if key.pts == a.Name && s.why == nil {
			return
		}
	}
	if _, err := im.share(a, sharedKey{a.Name, a.Method, im.quantities[a.Input], a.Unit}, a.Deposit); err != nil {
		im.say(a.Place, a.Name, false, "%v", err)
	}
}

func (im *importer) share(a *a2l.AxisPts, key sharedKey, deposit string) (*sharedAxis, error) {
	s := im.shared[key]
	if s == nil {
		s = &sharedAxis{from: a, count: a.Most}
		im.shared[key] = s
		s.axis, s.why = im.breakpoints(s, key, deposit)
	}
	return s, s.why
}

func (im *importer) breakpoints(s *sharedAxis, key sharedKey, deposit string) (*calibrationv1.Axis, error) {
	a := s.from
	if a.Extension != im.o.Extension {
		return nil, extension(a.Extension)
	}
	l := im.m.Layouts[a.Layout]
	if l == nil {
		return nil, fmt.Errorf("there is no RECORD_LAYOUT %.100s", a.Layout)
	}
	at := find(l, "AXIS_PTS", 0)
	if at < 0 {
		return nil, fmt.Errorf("record layout %s has no AXIS_PTS_X; %s", l.Name, computed(l, 0))
	}
	if n := l.FixedCount[0]; n > 0 {
		s.count = n
	}
	if s.count == 0 || s.count > maxPoints {
		return nil, fmt.Errorf("%d breakpoints; allowed: 1 to %d", s.count, maxPoints)
	}
	if find(l, "NO_AXIS_PTS", 0) > at && !l.Static && !l.StaticAt {
		return nil, countBehind("AXIS_PTS")
	}
	rec, err := im.record(l, a.Address, [5]uint64{s.count}, 1)
	if err != nil {
		return nil, err
	}
	out := &calibrationv1.Axis{Quantity: key.quantity, KnownAs: oneLine(a.Name)}
	d := &a2l.AxisDescr{Place: a.Place, Method: key.method, Unit: key.unit, ByteOrder: a.ByteOrder, Deposit: deposit}
	var m *means
	if out.Stored, out.Conversion, m, err = im.ownPoints(rec, 0, d); err != nil {
		return nil, err
	}
	s.counted = out.Stored.GetCountAt() != nil
	im.unit(out, key.unit, m)
	out.Id = im.axisIDs.of(a.Name)
	if m.left != "" || m.labels != nil {
		im.say(a.Place, a.Name, true, "breakpoints stay numbers, without their texts")
	}
	return out, nil
}

// ownPoints are breakpoints that lie in a record.
func (im *importer) ownPoints(rec *record, axis int, d *a2l.AxisDescr) (*calibrationv1.Stored, *calibrationv1.Conversion, *means, error) {
	deposit := d.Deposit
	if deposit == "" {
		deposit = im.m.Deposit
	}
	if deposit == "DIFFERENCE" {
		return nil, nil, nil, fmt.Errorf("breakpoints that are stored as differences are not read")
	}
	at := find(rec.layout, "AXIS_PTS", axis)
	e := rec.layout.Elements[at]
	s, err := im.stored(d.Place, rec.at[at], e.Type, e.Address, d.ByteOrder)
	if err != nil {
		return nil, nil, nil, err
	}
	s.Count = uint32(rec.counts[axis])
	if n := find(rec.layout, "NO_AXIS_PTS", axis); n >= 0 {
		if s.CountAt, err = im.countAt(rec, n, d); err != nil {
			return nil, nil, nil, err
		}
	}
	m, err := im.meaning(d.Method, rawOf(s, e.Type))
	if err != nil {
		return nil, nil, nil, err
	}
	conv := m.conv
	if m.labels != nil {
		conv = nil // breakpoints are numbers
	}
	return s, conv, m, nil
}

func (im *importer) countAt(rec *record, n int, d *a2l.AxisDescr) (*calibrationv1.CountAt, error) {
	e := rec.layout.Elements[n]
	t := dataTypes[e.Type]
	name := map[uint64]string{1: "u8", 2: "u16", 4: "u32"}[t.size]
	if t.float || name == "" {
		return nil, fmt.Errorf("%s of type %s is not read; allowed: integers of 1, 2 and 4 bytes", e.What, e.Type)
	}
	c := &calibrationv1.CountAt{Address: uint32(rec.at[n]), Type: name}
	order, err := im.byteOrder(d.Place, d.ByteOrder, t.size)
	if order != im.order && t.size > 1 {
		c.ByteOrder = order
	}
	return c, err
}

// sharedAxes writes shared axes in the order of the file.
func (im *importer) sharedAxes() {
	place := map[string]int{}
	for i, a := range im.m.AxisPts {
		place[a.Name] = i
	}
	var all []*sharedAxis
	for _, s := range im.shared {
		if s.why == nil {
			all = append(all, s)
		}
	}
	slices.SortFunc(all, func(a, b *sharedAxis) int {
		if n := place[a.from.Name] - place[b.from.Name]; n != 0 {
			return n
		}
		return naturally(a.axis.GetId(), b.axis.GetId())
	})
	for _, s := range all {
		im.out.Definition.Axes = append(im.out.Definition.Axes, s.axis)
	}
}
