package limits

import (
	"fmt"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/definition"
)

// The two kinds that hold a table against another one.
var (
	belowKind = &kind{name: "below", parse: (*ruleCheck).against, once: (*ruleCheck).otherThere, fits: (*ruleCheck).againstFits, judge: (*subject).against, where: true, other: (*calibrationv1.Rule).GetBelow}
	aboveKind = &kind{name: "above", parse: (*ruleCheck).against, once: (*ruleCheck).otherThere, fits: (*ruleCheck).againstFits, judge: (*subject).against, where: true, other: (*calibrationv1.Rule).GetAbove}
)

func (c *ruleCheck) against() error {
	r := c.kind.other(c.rule)
	if r.GetTable() == "" {
		return c.bad(c.kind.name+".table", "the id of a table", "the other table is missing")
	}
	if r.GetMargin() != 0 {
		return c.unit(c.kind.name+".unit", r.GetUnit())
	}
	return nil
}

// otherThere asks that the definition has the other table.
func (c *ruleCheck) otherThere() error {
	if id := c.kind.other(c.rule).GetTable(); c.lay.ByID[id] == nil {
		return c.bad(c.kind.name+".table", c.lay.TableIDs(), "definition %s has no table %.60q", c.lay.Name, id)
	}
	return nil
}

// againstFits asks that two tables can be held against each other. An axis that only the
// other one has is taken at its worst, so that axes need not be the same; those of one
// quantity must convert.
func (c *ruleCheck) againstFits(t *definition.Table) error {
	a, field := c.kind.other(c.rule), c.kind.name
	other := c.lay.ByID[a.GetTable()]
	if other == t {
		return c.cannot(t, "another table", "cannot be held against itself")
	}
	switch {
	case isText(other):
		return c.bad(field+".table", "a table of numbers", "table %q is a text", other.ID)
	case other.Cells.Conv.Labels != nil:
		return c.bad(field+".table", "a table of numbers", "table %q holds labels", other.ID)
	}
	if t.Quantity != other.Quantity {
		return c.bad(field+".table", "two tables of one quantity", "table %q is of quantity %q, and table %q of %q", t.ID, t.Quantity, other.ID, other.Quantity)
	}
	if err := c.convert(field+".table", other.Quantity, valueUnit(other), t.Quantity, valueUnit(t), fmt.Sprintf("tables %q and %q", other.ID, t.ID)); err != nil {
		return err
	}
	if a.GetUnit() != "" {
		if err := c.differenceOf(field+".unit", a.GetUnit(), t); err != nil {
			return err
		}
	}
	for _, own := range t.Axes {
		theirs := axisFor(other, own.Quantity)
		if theirs == nil {
			continue
		}
		if err := c.convert(field+".table", theirs.Quantity, axisUnit(theirs), own.Quantity, axisUnit(own),
			fmt.Sprintf("axis %q of table %q and axis %q of table %q", theirs.ID, other.ID, own.ID, t.ID)); err != nil {
			return err
		}
	}
	return nil
}

// against keeps the whole surface below, or above, another table's, on the breakpoints of both.
// A rule that selects by quantity may pick that other table too, which nobody means to hold against itself.
func (s *subject) against() error {
	id := s.kind.other(s.rule).GetTable()
	if id == s.t.ID {
		return errPassed{"it is the table that others are held against"}
	}
	now, err := s.boundOf(ofCandidate)
	if err != nil {
		return err
	}
	was, err := s.boundOf(ofBase)
	if err != nil {
		s.detail = "the base could not be judged: " + err.Error()
	}
	if s.codesOf = 0; now.codes != nil {
		s.codesOf = count(now.of.Off)
	}
	if err := s.holdSurface(rival{now, was}); err != nil {
		return err
	}
	s.lookedAt(s.rule, id)
	return nil
}
