package imported

import (
	"fmt"
	"math/big"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/a2l"
	"witnessmark/tables/definition"
)

const (
	noInput = "NO_INPUT_QUANTITY"

	maxPoints = 1 << 16 // breakpoints of an axis
	maxCells  = 1 << 22 // of a table
)

// side is one axis of a table under way.
type side struct {
	descr   *a2l.AxisDescr
	axis    *calibrationv1.TableAxis
	count   uint64 // the most
	counted bool   // the image says how many are used
	decr    bool   // breakpoints of its own run down
	inside  bool   // its breakpoints are part of the table's record
}

// side reads one axis of a table, but for the address of breakpoints that lie in the table's own record.
func (im *importer) side(c *a2l.Characteristic, l *a2l.Layout, i int, quantity string) (*side, error) {
	d := c.Axes[i]
	s := &side{descr: d, count: d.Most, axis: &calibrationv1.TableAxis{Quantity: quantity}}
	points, counts := find(l, "AXIS_PTS", i), find(l, "NO_AXIS_PTS", i)
	if n := l.FixedCount[i]; n > 0 {
		s.count = n
	}
	if d.Kind != "STD_AXIS" && counts >= 0 {
		return nil, fmt.Errorf("the image says how many breakpoints of axis %d are used, and they are no part of the record", i+1)
	}
	switch d.Kind {
	case "STD_AXIS":
		if points < 0 {
			return nil, fmt.Errorf("record layout %s has no AXIS_PTS for axis %d; %s", l.Name, i+1, computed(l, i))
		}
		s.inside, s.counted, s.decr = true, counts >= 0, l.Elements[points].Order == "INDEX_DECR"
	case "COM_AXIS":
		a, err := im.axisPts(d, quantity)
		if err != nil {
			return nil, fmt.Errorf("AXIS_PTS %.100s: %w", d.Ref, err)
		}
		s.axis, s.count, s.counted = &calibrationv1.TableAxis{Axis: a.axis.GetId()}, a.count, a.counted
	case "FIX_AXIS":
		if err := im.fixed(s, l, i); err != nil {
			return nil, err
		}
	case "CURVE_AXIS":
		if err := im.through(s); err != nil {
			return nil, err
		}
	default:
		return nil, fmt.Errorf("%s: breakpoints that are rescaled are not read", d.Kind)
	}
	if s.count == 0 || s.count > maxPoints {
		return nil, fmt.Errorf("axis %d has %d breakpoints; allowed: 1 to %d", i+1, s.count, maxPoints)
	}
	return s, nil
}

// computed says why breakpoints that are no list are left out.
func computed(l *a2l.Layout, i int) string {
	for _, what := range []string{"OFFSET", "DIST_OP", "SHIFT_OP"} {
		if find(l, what, i) >= 0 {
			return "breakpoints that are computed from numbers in the image are not read"
		}
	}
	if find(l, "AXIS_RESCALE", i) >= 0 {
		return "breakpoints that are rescaled are not read"
	}
	return "allowed: breakpoints that are stored or said"
}

// fixed are breakpoints that are said, raw.
func (im *importer) fixed(s *side, l *a2l.Layout, i int) error {
	d := s.descr
	f := d.Fixed
	if !f.Given {
		return fmt.Errorf("FIX_AXIS of axis %d: its breakpoints are not said; %s", i+1, computed(l, i))
	}
	m, err := im.meaning(d.Method, raw{true, 0, 0})
	if err != nil {
		return err
	}
	var all []*big.Rat
	for _, w := range f.List {
		all = append(all, number(w))
	}
	if f.List == nil && f.Count <= maxPoints {
		offset, gap := number(f.Offset), number(f.Gap)
		for k := range int64(f.Count) {
			all = append(all, new(big.Rat).Add(offset, new(big.Rat).Mul(gap, big.NewRat(k, 1))))
		}
	}
	if s.count = f.Count; f.List != nil {
		s.count = uint64(len(f.List))
	}
	for _, v := range all {
		if err := s.point(m, v); err != nil {
			return fmt.Errorf("axis %d: %w", i+1, err)
		}
	}
	s.axis.Index = s.axis.Labels != nil
	im.unit(s.axis, d.Unit, m)
	return nil
}

// point adds one breakpoint that is not stored.
func (s *side) point(m *means, v *big.Rat) error {
	f, _ := v.Float64()
	switch {
	case m.labels != nil:
		s.axis.Labels = append(s.axis.Labels, m.labels(f))
		return nil
	case m.fn == nil:
		f = pointsOf(m.conv.GetPoints()).Apply(f)
	default:
		physical, ok := m.fn.at(v)
		if !ok {
			return fmt.Errorf("its conversion gives no number for raw %v", f)
		}
		f = physical
	}
	s.axis.Points = append(s.axis.Points, f)
	return nil
}

// pointsOf is a table of points that converts.
func pointsOf(t *calibrationv1.PointTable) *definition.Points {
	p := &definition.Points{Raw: t.GetRaw(), Physical: t.GetPhysical(), Step: t.GetBetween() == "step"}
	if outside := t.GetOutside(); outside != nil {
		v := outside.GetNumberValue()
		p.Outside = &v
	}
	return p
}

// through is an axis that is looked up through a curve: its breakpoints are places, counted from 0.
func (im *importer) through(s *side) error {
	d := s.descr
	curve := im.objects[d.Ref]
	if curve == nil {
		return fmt.Errorf("there is no curve %.100s to look it up through", d.Ref)
	}
	b := im.build(curve)
	switch {
	case b.underWay:
		return fmt.Errorf("it is looked up through itself, by way of %.100s", d.Ref)
	case b.why != nil:
		return fmt.Errorf("it is looked up through %.100s, which was left out", d.Ref)
	case curve.Type != "CURVE":
		return fmt.Errorf("it is looked up through %.100s, which is a %s; allowed: a CURVE", d.Ref, curve.Type)
	}
	s.axis = &calibrationv1.TableAxis{By: &calibrationv1.AxisBy{Curve: b.table.GetId()}, Points: places(s.count)}
	return nil
}

// places are 0, 1, 2 and so on.
func places(n uint64) []float64 {
	out := make([]float64, min(n, maxPoints))
	for i := range out {
		out[i] = float64(i)
	}
	return out
}

// unit gives an axis the unit of its numbers; one that pairs with nothing has it only where it is said.
func (im *importer) unit(a unitHolder, said a2l.Unit, m *means) {
	text := m.unit
	if said.Given {
		text = said.Text
	}
	code, free := unitOf(text)
	if code == "1" && text == "" && a.GetQuantity() == "" {
		code = ""
	}
	switch a := a.(type) {
	case *calibrationv1.TableAxis:
		a.Unit, a.UnitText = code, free
	case *calibrationv1.Axis:
		a.Unit, a.UnitText = code, free
	}
}

type unitHolder interface{ GetQuantity() string }
