package limits

import (
	"fmt"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/definition"
	"witnessmark/tables/formula"
	"witnessmark/tables/signal"
	"witnessmark/tables/surface"
)

var envelopeKind = &kind{name: "envelope", parse: (*ruleCheck).envelope, fits: (*ruleCheck).envelopeFits, judge: (*subject).underEnvelope, where: true, ofSignal: (*sounding).underEnvelope, bounds: (*bounding).inEnvelope}

func (c *ruleCheck) envelope() error {
	e := c.rule.GetEnvelope()
	if err := c.word("envelope.side", e.GetSide(), "max", "min"); err != nil {
		return err
	}
	if err := c.unit("envelope.unit", e.GetUnit()); err != nil {
		return err
	}
	if e.GetX() == nil {
		return c.bad("envelope.x", "x: {quantity: …, unit: …, points: […]}", "the x axis is missing")
	}
	if err := c.envelopeAxis("envelope.x", e.GetX()); err != nil {
		return err
	}
	rows := 1
	if e.GetY() != nil {
		if err := c.envelopeAxis("envelope.y", e.GetY()); err != nil {
			return err
		}
		if e.GetX().GetQuantity() == e.GetY().GetQuantity() {
			return c.bad("envelope.y.quantity", "two quantities", "both axes are of quantity %q", e.GetY().GetQuantity())
		}
		rows = len(e.GetY().GetPoints())
	}
	columns := len(e.GetX().GetPoints())
	if len(e.GetValues()) != rows {
		return c.bad("envelope.values", fmt.Sprintf("%d, one for each point of y (one where there is no y)", rows), "%d rows", len(e.GetValues()))
	}
	for i, row := range e.GetValues() {
		if len(row.GetValues()) != columns {
			return c.bad(fmt.Sprintf("envelope.values[%d]", i), fmt.Sprintf("%d, one for each point of x", columns), "%d numbers in the row", len(row.GetValues()))
		}
	}
	return nil
}

func (c *ruleCheck) envelopeAxis(field string, a *calibrationv1.EnvelopeAxis) error {
	if a.GetQuantity() == "" {
		return c.bad(field+".quantity", "what the axis measures, as in engine_speed", "the quantity is missing")
	}
	if err := c.unit(field+".unit", a.GetUnit()); err != nil {
		return err
	}
	if len(a.GetPoints()) == 0 {
		return c.bad(field+".points", "one point or more", "there are no points")
	}
	for i := 1; i < len(a.GetPoints()); i++ {
		if !(a.GetPoints()[i] > a.GetPoints()[i-1]) {
			return c.bad(fmt.Sprintf("%s.points[%d]", field, i), "points that rise strictly", "%v comes after %v", a.GetPoints()[i], a.GetPoints()[i-1])
		}
	}
	return nil
}

func (c *ruleCheck) envelopeFits(t *definition.Table) error {
	e := c.rule.GetEnvelope()
	if err := c.level("envelope.unit", e.GetUnit(), t); err != nil {
		return err
	}
	for _, side := range []struct {
		field string
		axis  *calibrationv1.EnvelopeAxis
	}{{"envelope.x", e.GetX()}, {"envelope.y", e.GetY()}} {
		if side.axis == nil {
			continue
		}
		q := side.axis.GetQuantity()
		axis := axisFor(t, q)
		if axis == nil {
			if err := c.cannot(t, "tables with every axis of the envelope", "has no axis of quantity %q, which the envelope needs", q); err != nil {
				return err
			}
			continue
		}
		if err := c.convert(side.field+".unit", q, side.axis.GetUnit(), q, axisUnit(axis), fmt.Sprintf("axis %q of table %q", axis.ID, t.ID)); err != nil {
			return err
		}
	}
	return nil
}

// underEnvelope holds the whole surface against the envelope's. Both are piecewise bilinear, and so
// is their difference, which takes its extremes at the breakpoints of both joined.
func (s *subject) underEnvelope() error {
	if m := s.meshes[axesOf(s.t)]; m.suits(s) {
		s.codes += s.cand.patches()
		return s.holdOn(m)
	}
	b, err := s.envelopeOn()
	if err != nil {
		return err
	}
	return s.holdSurface(rival{b, b})
}

func (b *bounding) inEnvelope() {
	on, err := b.envelopeOn()
	if err != nil || b.cand.err != nil {
		return
	}
	if _, err := b.lattice([]rival{{on, on}}); err != nil {
		return
	}
	for row := range b.cand.ny {
		for col := range b.cand.nx {
			p := b.cand.cellAt(row, col)
			limit := on.at(p.x, p.y, side{sideOf(b.cand.x, col), sideOf(b.cand.y, row)})
			b.cell(row*b.cand.nx+col, limit, on.ceiling)
		}
	}
}

// envelopeOn is the envelope in the units of the table; on a slice of a block, its section there.
func (s *subject) envelopeOn() (*bound, error) {
	e, t := s.rule.GetEnvelope(), s.t
	for _, a := range [2]*calibrationv1.EnvelopeAxis{e.GetX(), e.GetY()} {
		if a != nil && pairing(t, a.GetQuantity()) < 0 {
			return nil, errPassed{"it has no axis of " + a.GetQuantity() + ", which the envelope needs"}
		}
	}
	unit, err := s.levels(t.Quantity, e.GetUnit(), t.Quantity, valueUnit(t))
	if err != nil {
		return nil, err
	}
	b := &bound{grid: &surface.Grid{X: []float64{0}, Y: []float64{0}}, to: [2]int{-1, -1}, ceiling: e.GetSide() != "min"}
	for i, a := range [2]*calibrationv1.EnvelopeAxis{e.GetX(), e.GetY()} {
		if a == nil {
			continue
		}
		to := pairing(t, a.GetQuantity())
		axis := axisAt(t, to)
		u, err := s.levels(axis.Quantity, a.GetUnit(), axis.Quantity, axisUnit(axis))
		if err != nil {
			return nil, err
		}
		b.to[i] = to
		if i == 0 {
			b.grid.X = u.all(a.GetPoints())
		} else {
			b.grid.Y = u.all(a.GetPoints())
		}
	}
	b.grid.Values = s.room.numbers.Take(len(b.grid.X) * len(b.grid.Y))[:0]
	for _, row := range e.GetValues() {
		for _, v := range row.GetValues() {
			b.grid.Values = append(b.grid.Values, unit.of(v.GetNumberValue()))
		}
	}
	if len(b.grid.Values) != len(b.grid.X)*len(b.grid.Y) {
		return nil, unjudged("the envelope has %d values for %d by %d points", len(b.grid.Values), len(b.grid.X), len(b.grid.Y))
	}
	return b, s.sectionOf(b)
}

// sectionOf holds an envelope where a slice lies, along the axes that a slice has one place on.
func (s *subject) sectionOf(b *bound) error {
	kept, held := [2]int{0, 1}, make([]surface.Span, 2)
	for i, points := range [2][]float64{b.grid.X, b.grid.Y} {
		if b.to[i] < flat {
			continue
		}
		var err error
		if held[i], err = s.heldAt(axisAt(s.t, b.to[i]), points, b.to[i]); err != nil {
			return err
		}
		kept[i], b.to[i] = -1, -1
	}
	if kept != [2]int{0, 1} {
		b.grid = b.grid.Solid().Section(kept[0], kept[1], held)
	}
	return nil
}

// underEnvelope holds the signal against the envelope at the references' quantities: the worse of them counts.
func (o *sounding) underEnvelope() error {
	e := o.rule.GetEnvelope()
	unit, err := levels(o.sig.Quantity, e.GetUnit(), o.sig.Quantity, o.sig.Unit)
	if err != nil {
		return err
	}
	grid := &surface.Grid{X: e.GetX().GetPoints(), Y: []float64{0}}
	if e.GetY() != nil {
		grid.Y = e.GetY().GetPoints()
	}
	for _, row := range e.GetValues() {
		for _, v := range row.GetValues() {
			grid.Values = append(grid.Values, unit.of(v.GetNumberValue()))
		}
	}
	ceiling := e.GetSide() != "min"
	var limits []*signal.Function
	for _, ref := range o.refs {
		var at [2]*signal.Function
		for i, a := range []*calibrationv1.EnvelopeAxis{e.GetX(), e.GetY()} {
			if a == nil {
				continue
			}
			if at[i], err = ref.Quantity(a.GetQuantity(), a.GetUnit()); err != nil {
				return unjudged("%v", err)
			}
		}
		limits = append(limits, o.space.Lookup(grid, at[0], at[1]))
	}
	limit, worse := limits[0], formula.Max
	if ceiling {
		worse = formula.Min
	}
	if len(limits) > 1 {
		limit = signal.Apply(worse, limits...)
	}
	return o.holdAll(edge{now: limit, was: limits[0], ceiling: ceiling})
}
