package limits

import (
	"fmt"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/definition"
)

// axisFor is the axis of a table that has a quantity; nil if none.
func axisFor(t *definition.Table, quantity string) *definition.Axis {
	for _, a := range []*definition.Axis{t.X, t.Y} {
		if a != nil && a.Quantity == quantity {
			return a
		}
	}
	return nil
}

// axisAlong is the axis that `along` names; nil if the table has none there.
func axisAlong(t *definition.Table, along string) *definition.Axis {
	if along == "y" {
		return t.Y
	}
	return t.X
}

func (c *ruleCheck) envelopeFits(e *calibrationv1.Envelope, t *definition.Table) error {
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
		if err := c.convert(side.field+".unit", q, side.axis.GetUnit(), q, axis.Unit, fmt.Sprintf("axis %q of table %q", axis.ID, t.ID)); err != nil {
			return err
		}
	}
	return nil
}

func (c *ruleCheck) slopeFits(s *calibrationv1.Slope, t *definition.Table) error {
	if err := c.difference("slope.unit", s.GetUnit(), t.Unit, fmt.Sprintf("table %q", t.ID)); err != nil {
		return err
	}
	axis := axisAlong(t, s.GetAlong())
	switch {
	case axis == nil:
		return c.cannot(t, "tables with the axis that along names", "has no %s axis", s.GetAlong())
	case axis.Index:
		return c.cannot(t, "axes that measure something", "has an index axis along %s, and places have no slope", s.GetAlong())
	case s.GetAxisUnit() != "":
		return c.difference("slope.axis_unit", s.GetAxisUnit(), axis.Unit, fmt.Sprintf("axis %q of table %q", axis.ID, t.ID))
	}
	return nil
}

func (c *ruleCheck) lumpFits(r *calibrationv1.Lump, t *definition.Table) error {
	if err := c.difference("lump.unit", r.GetUnit(), t.Unit, fmt.Sprintf("table %q", t.ID)); err != nil {
		return err
	}
	usable := false
	for _, along := range []string{"x", "y"} {
		if axis := axisAlong(t, along); axis != nil && !axis.Index && (r.GetAlong() == "" || r.GetAlong() == along) {
			usable = true
		}
	}
	if usable {
		return nil
	}
	if r.GetAlong() == "" {
		return c.cannot(t, "curves and maps with an axis that measures something", "has no axis to go along")
	}
	return c.cannot(t, "tables with the axis that along names, measuring something", "has no such %s axis", r.GetAlong())
}

func (c *ruleCheck) monotonicFits(r *calibrationv1.Monotonic, t *definition.Table) error {
	if r.GetOf() == "axes" {
		if t.X == nil {
			return c.cannot(t, "curves and maps", "has no axes")
		}
		return nil
	}
	if axisAlong(t, r.GetAlong()) == nil {
		return c.cannot(t, "tables with the axis that along names", "has no %s axis", r.GetAlong())
	}
	return nil
}

// againstFits asks that two tables can be held against each other. An axis that only the
// other one has is taken at its worst, so that axes need not be the same; those of one
// quantity must convert.
func (c *ruleCheck) againstFits(field string, a *calibrationv1.Against, t, other *definition.Table) error {
	if other == t {
		return c.cannot(t, "another table", "cannot be held against itself")
	}
	if other.Cells.Conv.Labels != nil {
		return c.bad(field+".table", "a table of numbers", "table %q holds labels", other.ID)
	}
	if t.Quantity != other.Quantity {
		return c.bad(field+".table", "two tables of one quantity", "table %q is of quantity %q, and table %q of %q", t.ID, t.Quantity, other.ID, other.Quantity)
	}
	if err := c.convert(field+".table", other.Quantity, other.Unit, t.Quantity, t.Unit, fmt.Sprintf("tables %q and %q", other.ID, t.ID)); err != nil {
		return err
	}
	if a.GetUnit() != "" {
		if err := c.difference(field+".unit", a.GetUnit(), t.Unit, fmt.Sprintf("table %q", t.ID)); err != nil {
			return err
		}
	}
	for _, own := range []*definition.Axis{t.X, t.Y} {
		if own == nil {
			continue
		}
		theirs := axisFor(other, own.Quantity)
		if theirs == nil {
			continue
		}
		if err := c.convert(field+".table", theirs.Quantity, theirs.Unit, own.Quantity, own.Unit,
			fmt.Sprintf("axis %q of table %q and axis %q of table %q", theirs.ID, other.ID, own.ID, t.ID)); err != nil {
			return err
		}
	}
	return nil
}
