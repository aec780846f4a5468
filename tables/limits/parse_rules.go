package limits

import (
	"fmt"
	"slices"
	"strings"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/severity"
)

// ruleCheck is one rule being checked, at its place in the file.
type ruleCheck struct {
	l    *Limits
	path string
	rule *calibrationv1.Rule
}

// bad is an error about the rule, at a field of it.
func (c *ruleCheck) bad(field, allowed, format string, args ...any) error {
	path := c.path
	if field != "" {
		path += "." + field
	}
	return c.l.at.Errorf(path, allowed, "rule %s: %s", c.rule.GetId(), fmt.Sprintf(format, args...))
}

func (c *ruleCheck) word(field, word string, allowed ...string) error {
	switch list := strings.Join(allowed, ", "); {
	case word == "":
		return c.bad(field, list, "the field is missing")
	case !slices.Contains(allowed, word):
		return c.bad(field, list, "%.60q is not known", word)
	}
	return nil
}

func (c *ruleCheck) unit(field, unit string) error {
	if unit == "" {
		return c.bad(field, `a UCUM code, "1" for a number without a unit`, "the unit is missing")
	}
	return nil
}

// atLeastZero checks a bound that must be there.
func (c *ruleCheck) atLeastZero(field string, v *float64) error {
	switch {
	case v == nil:
		return c.bad(field, "a number, 0 or more", "the number is missing")
	case !(*v >= 0):
		return c.bad(field, "a number, 0 or more", "%v is below 0", *v)
	}
	return nil
}

// parse checks the rule without a definition.
func (c *ruleCheck) parse() error {
	if err := c.word("severity", c.rule.GetSeverity(), severity.Words()[1:]...); err != nil {
		return err
	}
	if role := c.rule.GetSelect().GetRole(); role != "" {
		if err := c.word("select.role", role, "target", "limit", "correction", "transfer", "threshold", "switch"); err != nil {
			return err
		}
	}
	seen := map[string]bool{}
	for i, id := range c.rule.GetSelect().GetTables() {
		if seen[id] {
			return c.bad(fmt.Sprintf("select.tables[%d]", i), "each table once", "table %q is named twice", id)
		}
		seen[id] = true
	}
	return c.kind()
}

func (c *ruleCheck) kind() error {
	switch k := c.rule.GetKind().(type) {
	case nil:
		return c.bad("", "one of envelope, range, change, slope, lump, monotonic, frozen, below, above, expression, covers",
			"it says nothing that a table must keep")
	case *calibrationv1.Rule_Envelope:
		return c.envelope(k.Envelope)
	case *calibrationv1.Rule_Range:
		return c.bounds(k.Range)
	case *calibrationv1.Rule_Change:
		return c.change(k.Change)
	case *calibrationv1.Rule_Slope:
		if err := c.unit("slope.unit", k.Slope.GetUnit()); err != nil {
			return err
		}
		if err := c.word("slope.along", k.Slope.GetAlong(), "x", "y"); err != nil {
			return err
		}
		return c.atLeastZero("slope.max", k.Slope.Max)
	case *calibrationv1.Rule_Lump:
		return c.lump(k.Lump)
	case *calibrationv1.Rule_Monotonic:
		return c.monotonic(k.Monotonic)
	case *calibrationv1.Rule_Below:
		return c.against("below", k.Below)
	case *calibrationv1.Rule_Above:
		return c.against("above", k.Above)
	case *calibrationv1.Rule_Expression:
		if strings.TrimSpace(k.Expression) == "" {
			return c.bad("expression", "a CEL expression that is true where all is well", "the expression is empty")
		}
	}
	return nil
}

func (c *ruleCheck) bounds(r *calibrationv1.Range) error {
	if err := c.unit("range.unit", r.GetUnit()); err != nil {
		return err
	}
	switch {
	case r.Min == nil && r.Max == nil:
		return c.bad("range", "min, max or both", "neither min nor max is given")
	case r.Min != nil && r.Max != nil && r.GetMin() > r.GetMax():
		return c.bad("range.min", fmt.Sprintf("at most max, %v", r.GetMax()), "min %v is above max", r.GetMin())
	}
	return nil
}

func (c *ruleCheck) change(r *calibrationv1.Change) error {
	if r.GetPercent() {
		if r.GetUnit() != "" && r.GetUnit() != "%" {
			return c.bad("change.unit", "no unit, or %", "the bounds are per cent, not %s", r.GetUnit())
		}
	} else if err := c.unit("change.unit", r.GetUnit()); err != nil {
		return err
	}
	if r.MaxUp == nil && r.MaxDown == nil {
		return c.bad("change", "max_up, max_down or both", "neither max_up nor max_down is given")
	}
	if r.MaxUp != nil {
		if err := c.atLeastZero("change.max_up", r.MaxUp); err != nil {
			return err
		}
	}
	if r.MaxDown != nil {
		return c.atLeastZero("change.max_down", r.MaxDown)
	}
	return nil
}

func (c *ruleCheck) lump(r *calibrationv1.Lump) error {
	if err := c.unit("lump.unit", r.GetUnit()); err != nil {
		return err
	}
	if r.GetAlong() != "" {
		if err := c.word("lump.along", r.GetAlong(), "x", "y"); err != nil {
			return err
		}
	}
	return c.atLeastZero("lump.max", r.Max)
}

func (c *ruleCheck) monotonic(r *calibrationv1.Monotonic) error {
	if err := c.word("monotonic.of", r.GetOf(), "axes", "values"); err != nil {
		return err
	}
	if r.GetOf() == "axes" {
		if r.GetAlong() != "" || r.GetDirection() != "" || r.GetRising() || r.GetFalling() {
			return c.bad("monotonic", "of: axes alone", "along and a direction belong to values")
		}
		return nil
	}
	if err := c.word("monotonic.along", r.GetAlong(), "x", "y"); err != nil {
		return err
	}
	if r.GetDirection() != "" {
		if err := c.word("monotonic.direction", r.GetDirection(), "rising", "falling"); err != nil {
			return err
		}
	}
	given := 0
	for _, g := range []bool{r.GetDirection() != "", r.GetRising(), r.GetFalling()} {
		if g {
			given++
		}
	}
	if given != 1 {
		return c.bad("monotonic", "one of direction: rising, direction: falling, rising: true, falling: true", "%d directions are given", given)
	}
	return nil
}

func (c *ruleCheck) against(kind string, r *calibrationv1.Against) error {
	if r.GetTable() == "" {
		return c.bad(kind+".table", "the id of a table", "the other table is missing")
	}
	if r.GetMargin() != 0 {
		return c.unit(kind+".unit", r.GetUnit())
	}
	return nil
}

func (c *ruleCheck) envelope(e *calibrationv1.Envelope) error {
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
