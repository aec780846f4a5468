package limits

import (
	"fmt"
	"math"

	"witnessmark/tables/definition"
)

var slopeKind = &kind{name: "slope", parse: (*ruleCheck).slope, fits: (*ruleCheck).slopeFits, judge: (*subject).slope, where: true}

func (c *ruleCheck) slope() error {
	s := c.rule.GetSlope()
	if err := c.unit("slope.unit", s.GetUnit()); err != nil {
		return err
	}
	if err := c.word("slope.along", s.GetAlong(), "x", "y"); err != nil {
		return err
	}
	return c.atLeastZero("slope.max", s.Max)
}

func (c *ruleCheck) slopeFits(t *definition.Table) error {
	s := c.rule.GetSlope()
	if err := c.differenceOf("slope.unit", s.GetUnit(), t); err != nil {
		return err
	}
	axis := axisAlong(t, s.GetAlong())
	switch {
	case axis == nil:
		return c.cannot(t, "tables with the axis that along names", "has no %s axis", s.GetAlong())
	case axis.Index:
		return c.cannot(t, "axes that measure something", "has an index axis along %s, and places have no slope", s.GetAlong())
	case s.GetAxisUnit() != "":
		return c.difference("slope.axis_unit", s.GetAxisUnit(), axisUnit(axis), fmt.Sprintf("axis %q of table %q", axis.ID, t.ID))
	}
	return nil
}

// slope judges the difference of neighbours per unit of the axis. Neighbours on one breakpoint, a
// step, are infinitely steep unless they are equal.
func (s *subject) slope() error {
	r := s.rule.GetSlope()
	limit, err := spans(r.GetUnit(), valueUnit(s.t))
	if err != nil {
		return err
	}
	limit *= r.GetMax()
	if a := axisAlong(s.t, r.GetAlong()); a != nil && r.GetAxisUnit() != "" {
		per, err := spans(r.GetAxisUnit(), axisUnit(a))
		if err != nil {
			return err
		}
		limit /= per
	}
	return s.neighbours([]string{r.GetAlong()}, false, opinion{pair: true, ceiling: true, all: slopesWithin(limit), of: func(t *track, i, cell int) (value, most float64, by int, ok bool) {
		if i+1 >= len(t.points) || t.off(cell, 0, 1) {
			return 0, 0, 0, false
		}
		a, b := t.f.values[cell], t.f.values[cell+t.stride]
		if a == b && t.points[i] == t.points[i+1] {
			return 0, 0, 0, false
		}
		return math.Abs(b-a) / math.Abs(t.points[i+1]-t.points[i]), limit, 0, true
	}})
}

// slopesWithin is the rule at a glance.
func slopesWithin(limit float64) func(t *track) (int, bool) {
	return func(t *track) (int, bool) {
		n, apart := t.lines()
		gaps := len(t.points) - 1
		for i := range gaps {
			gap := math.Abs(t.points[i+1] - t.points[i])
			if !(gap > 0) || !(limit <= math.MaxFloat64) {
				return 0, false
			}
			for line, at := 0, i*t.stride; line < n; line, at = line+1, at+apart {
				if !(math.Abs(t.f.values[at+t.stride]-t.f.values[at])/gap <= limit) {
					return 0, false
				}
			}
		}
		return n * gaps, true
	}
}
