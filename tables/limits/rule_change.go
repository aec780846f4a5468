package limits

import (
	"math"

	"witnessmark/tables/definition"
	"witnessmark/tables/surface"
)

var changeKind = &kind{name: "change", parse: (*ruleCheck).change, fits: (*ruleCheck).changeFits, judge: (*subject).changeWithin, needsBase: true}

func (c *ruleCheck) change() error {
	r := c.rule.GetChange()
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

func (c *ruleCheck) changeFits(t *definition.Table) error {
	if c.rule.GetChange().GetPercent() {
		return nil
	}
	return c.differenceOf("change.unit", c.rule.GetChange().GetUnit(), t)
}

// changeWithin judges how far each cell moved; where breakpoints changed, how far the surface did.
func (s *subject) changeWithin() error {
	c := s.rule.GetChange()
	if s.base == nil {
		return unjudged("the base has nothing to compare with")
	}
	factor, err := spans(c.GetUnit(), s.t.Unit)
	if c.GetPercent() {
		factor, err = 0.01, nil
	}
	if err != nil {
		return err
	}
	moved := func(p place, base, cand float64) {
		if base == cand || math.IsNaN(base) && math.IsNaN(cand) {
			return
		}
		per := factor
		if c.GetPercent() {
			per *= max(math.Abs(base), s.t.Cells.Conv.Step())
		}
		if c.MaxUp != nil {
			s.tally.add(p, s.tally.judge(cand, base+float64(*c.MaxUp*per), true), nil)
		}
		// What is no number is beyond the first bound, and said once.
		if c.MaxDown != nil && (c.MaxUp == nil || surface.Finite(base, cand)) {
			s.tally.add(p, s.tally.judge(cand, base-float64(*c.MaxDown*per), false), nil)
		}
	}
	if sameAxes(s.cand, s.base) {
		for i, v := range s.cand.values {
			moved(s.cand.cellAt(i/s.cand.nx, i%s.cand.nx), s.base.values[i], v)
		}
		return nil
	}
	if err := surfaces(s.cand, s.base); err != nil {
		return err
	}
	// A share of the base bends where the base is smallest, which may lie between the points.
	s.exact = !s.cand.curved && !s.base.curved && !c.GetPercent()
	l := over(s.cand.grid)
	join(&l.x, &l.stepsX, s.base.grid.X)
	join(&l.y, &l.stepsY, s.base.grid.Y)
	l.each(s.cand, func(p place, sd side) {
		moved(p, at(s.base.grid, p.x, p.y, sd), at(s.cand.grid, p.x, p.y, sd))
	})
	return nil
}
