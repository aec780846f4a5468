package runcheck

import (
	"fmt"
	"strings"

	"witnessmark/tables/signal"
	"witnessmark/tables/units"
)

// ahead follows the boost targets of the candidate: at each sample under load the pressure rises by what its target does, and
// the cylinder's filling by the same share, as it does at one temperature. What then lies beyond an axis of the candidate's,
// and did not before, is found.
func (c *check) ahead() {
	for _, s := range c.sides {
		if s.channel == pressure {
			c.follow(s)
		}
	}
}

func (c *check) follow(s *side) {
	space := signal.NewSpace(c.lay)
	next, err := c.function(s, c.open(c.Candidate).In(space), space, c.Candidate)
	if err == nil {
		err = c.followed(s, next, space)
	}
	if err != nil {
		c.left("the candidate's %s is not followed: %v", s.id(), err)
	}
}

func (c *check) followed(s *side, next *signal.Function, space *signal.Space) error {
	p, err := c.probe(space)
	if err != nil {
		return err
	}
	kPa, err := c.channel(pressure, "kPa")
	if err != nil {
		return err
	}
	per, err := units.BetweenDifferences(s.unit, "kPa")
	if err != nil {
		return err
	}
	c.beyondWith(s, func(i int) (rise, was float64, ok bool) {
		if !c.loaded(i) || kPa.hole(i) || !p.move(i) || !s.probe.move(i) {
			return 0, 0, false
		}
		rise = per.Difference(p.value(next) - s.probe.value(s.value))
		return rise, kPa.at(i), rise > 0
	})
	return nil
}

// beyondWith finds what lies beyond an axis of the candidate's once the pressure has risen.
func (c *check) beyondWith(s *side, risen func(i int) (rise, was float64, ok bool)) {
	for _, r := range c.reaches(c.Candidate) {
		if r.quantity != pressure && r.quantity != "cylinder_filling" || !r.high {
			continue
		}
		at := c.along(r.quantity, r.unit)
		if at == nil {
			continue
		}
		seconds, worst, far := 0.0, 0, r.end
		for i := range c.share {
			rise, was, ok := risen(i)
			v, known := at(i)
			if !ok || !known || was <= 0 || r.past(v) {
				continue
			}
			if v *= (was + rise) / was; r.past(v) {
				seconds += float64(c.share[i])
				if v > far {
					worst, far = i, v
				}
			}
		}
		if seconds > mostOutside {
			text := fmt.Sprintf("with the candidate's %s this run would come to %s %.4g %s, above the end of the axis of %s, %.4g, where the table is held; %.2f s in all (%g s: %s)",
				s.id(), strings.ReplaceAll(r.quantity, "_", " "), far, r.unit, named(r.tables), r.end, seconds, mostOutside, practice)
			c.offAxis(r, worst, text)
			c.out.Ahead = append(c.out.Ahead, text)
		}
	}
}
