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
	axesAlone: ofAxes, blocks: ofAxes}

func ofAxes(r *calibrationv1.Rule) bool { return r.GetMonotonic().GetOf() == "axes" }

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
	return s.neighbours([]string{r.GetAlong()}, true, opinion{pair: true, ceiling: !rising, all: valuesRise(rising), of: func(t *track, i, cell int) (later, earlier float64, by int, ok bool) {
		if i+1 >= len(t.points) || t.off(cell, 0, 1) {
			return 0, 0, 0, false
		}
		a, b := t.f.values[cell], t.f.values[cell+t.stride]
		if t.order < 0 { // read backwards: the later of the two is the one stored first
			return a, b, 0, true
		}
		return b, a, 1, true
	}})
}

// valuesRise is the rule at a glance.
func valuesRise(rising bool) func(t *track) (int, bool) {
	return func(t *track) (int, bool) {
		n, apart := t.lines()
		pairs := len(t.points) - 1
		for i := range pairs {
			for line, at := 0, i*t.stride; line < n; line, at = line+1, at+apart {
				rise := t.f.values[at+t.stride] - t.f.values[at]
				if rising != (t.order >= 0) { // read backwards, or asked to fall; not both
					rise = -rise
				}
				if !(rise >= 0 && rise <= math.MaxFloat64) {
					return 0, false
				}
			}
		}
		return n * pairs, true
	}
}

// monotonicAxes asks that the breakpoints of each axis rise, or fall, strictly.
func (s *subject) monotonicAxes() error {
	var before []line
	if s.was() != nil {
		before = s.was().lines()
	}
	for n, l := range s.cand.lines() {
		var was []float64
		if n < len(before) {
			was = before[n].points
		}
		for i := 1; i < len(l.points); i++ {
			s.inOrder(n, l, was, i)
		}
	}
	if s.looked == 0 {
		return errPassed{"no axis of it has two breakpoints where the rule holds"}
	}
	return nil
}

// inOrder judges a breakpoint of an axis, by number, against the one before it; was are the base's.
func (s *subject) inOrder(n int, l line, was []float64, i int) {
	a, b := l.points[i-1], l.points[i]
	fresh := slices.ContainsFunc(*s.groundOf(n), func(g reached) bool { return g.pair(a, b) })
	if !(*s.stretchOf(n)).meets(a, b) || s.only && !fresh {
		return
	}
	s.looked++
	v := strictly(l.points, i)
	if !v.fails {
		return
	}
	s.detail = fmt.Sprintf("breakpoints of the %s axis", l.name)
	p := s.cand.breakpoint(n, i)
	p.along = l.name
	if i < len(was) && !fresh {
		b := strictly(was, i)
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
