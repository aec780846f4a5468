package limits

import (
	"fmt"
	"math"
	"slices"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/definition"
	"witnessmark/tables/surface"
)

var monotonicKind = &kind{name: "monotonic", parse: (*ruleCheck).monotonic, fits: (*ruleCheck).monotonicFits, judge: (*subject).monotonic, where: true,
	axesAlone: func(r *calibrationv1.Rule) bool { return r.GetMonotonic().GetOf() == "axes" }}

func (c *ruleCheck) monotonic() error {
	r := c.rule.GetMonotonic()
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

func (c *ruleCheck) monotonicFits(t *definition.Table) error {
	r := c.rule.GetMonotonic()
	if r.GetOf() == "axes" {
		return c.hasAxes(t)
	}
	if axisAlong(t, r.GetAlong()) == nil {
		return c.cannot(t, "tables with the axis that along names", "has no %s axis", r.GetAlong())
	}
	return nil
}

// monotonic judges the order of breakpoints, or of values.
func (s *subject) monotonic() error {
	r := s.rule.GetMonotonic()
	if r.GetOf() == "axes" {
		return s.monotonicAxes()
	}
	rising := r.GetRising() || r.GetDirection() == "rising"
	return s.neighbours([]string{r.GetAlong()}, true, opinion{true, !rising, func(t *track, i, cell int) (later, earlier float64, by int, ok bool) {
		if i+1 >= len(t.points) {
			return 0, 0, 0, false
		}
		a, b := t.f.values[cell], t.f.values[cell+t.stride]
		if t.order < 0 { // read backwards: the later of the two is the one stored first
			return a, b, 0, true
		}
		return b, a, 1, true
	}})
}

// monotonicAxes asks that the breakpoints of each axis rise, or fall, strictly.
func (s *subject) monotonicAxes() error {
	for _, name := range []string{"x", "y"} {
		t := s.cand.track(name)
		if t == nil {
			continue
		}
		var before *track
		if s.base != nil {
			before = s.base.track(name)
		}
		for i := 1; i < len(t.points); i++ {
			s.inOrder(t, before, i)
		}
	}
	if s.looked == 0 {
		return errPassed{"no axis of it has two breakpoints where the rule holds"}
	}
	return nil
}

// inOrder judges a breakpoint against the one before it.
func (s *subject) inOrder(t, before *track, i int) {
	along, row, col := 0, 0, i
	if t.name == "y" {
		along, row, col = 1, i, 0
	}
	fresh := slices.ContainsFunc(s.ground[along], func(g reached) bool { return g.pair(t.points[i-1], t.points[i]) })
	if !s.where[along].meets(t.points[i-1], t.points[i]) || s.only && !fresh {
		return
	}
	s.looked++
	v := strictly(t.points, i)
	if !v.fails {
		return
	}
	s.detail = fmt.Sprintf("breakpoints of the %s axis", t.name)
	p := s.cand.cellAt(row, col)
	p.along = t.name
	if before != nil && i < len(before.points) && !fresh {
		b := strictly(before.points, i)
		s.tally.add(p, v, &b)
		return
	}
	s.tally.add(p, v, nil)
}

// strictly says whether a breakpoint lies beyond the one before it, in the direction in which the
// axis runs from end to end.
func strictly(points []float64, i int) verdict {
	v := verdict{value: points[i], limit: points[i-1]}
	ahead := v.value - v.limit
	if points[len(points)-1] < points[0] {
		ahead = -ahead
	}
	switch {
	case !surface.Finite(v.value, v.limit):
		v.excess, v.room, v.fails = math.Inf(1), math.Inf(-1), true
	case ahead <= 0:
		v.excess, v.room, v.fails = max(0, -ahead), min(0, ahead), true
	}
	return v
}
