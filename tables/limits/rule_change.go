package limits

import (
	"math"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
)

// changeWithin judges how far each cell moved; where breakpoints changed, how far the surface did.
func (s *subject) changeWithin(c *calibrationv1.Change) error {
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
		if c.MaxDown != nil && (c.MaxUp == nil || finite(base, cand)) {
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
