package run

import (
	"fmt"
	"math"
	"strings"
)

// When runs must be looked at twice. Common practice, no source.
const (
	driftShare  = 0.05 // of jobs without a drift in which one is told all the same
	driftRuns   = 5    // a side, from which a drift is told although the sides were not interleaved
	heatBetween = 8.0  // K, between the sides
	heatWithin  = 15.0 // K, between two runs of a side
	shortSteps  = 3    // of the grid, that a run ends before the others
)

// fewRuns says what so few runs cannot show.
func (c *comparison) fewRuns() []Remark {
	nb, na := c.design.sides()
	switch least := min(nb, na); {
	case least < 2:
		return []Remark{{"points", 0, "one run on a side: the spread between runs cannot be told, so no gain is shown; three or more a side are wanted"}}
	case least < leastBySpeed:
		return []Remark{{"points", 0, fmt.Sprintf("two runs on a side: nothing is shown at single engine speeds, which takes %d", leastBySpeed)}}
	}
	return nil
}

// drift looks for a change from one run to the next that is none of the sides', by mean torque. Where it
// can be told from a gain and there is one, gains are from now on those without it.
func (c *comparison) drift(mean compared) []Remark {
	nb, na := c.design.sides()
	freedom := nb + na - 3
	found := freedom >= 1 && mean.slopeErr > 0 && math.Abs(mean.slope) > float64(student(driftShare, freedom)*mean.slopeErr)
	told := c.design.interleaved() || min(nb, na) >= driftRuns
	drifts := fmt.Sprintf("mean torque changes by %+.1f N·m from one run to the next within the sides", mean.slope)
	switch {
	case told && found:
		c.design.drift = true
		return []Remark{{"drift", 0, drifts + ": the gains are those without it, at the middle of the order"}}
	case told:
		return nil
	case min(nb, na) < 2:
		return nil // nothing is shown at all
	case found:
		return []Remark{{"drift", 0, fmt.Sprintf("%s, and all runs of one side were made before those of the other: that cannot be told from a gain; interleave the sides, or make %d runs a side", drifts, driftRuns)}}
	}
	return []Remark{{"drift", 0, fmt.Sprintf("all runs of one side were made before those of the other: a change with the order of the runs, as by heat, cannot be told from a gain; interleave the sides, or make %d runs a side", driftRuns)}}
}

// heat remarks runs that were not equally warm: medians inside the sweeps.
func (c *comparison) heat() []Remark {
	var out []Remark
	for _, quantity := range []string{"coolant_temperature", "oil_temperature", "intake_temperature"} {
		side := map[bool][]float64{}
		for i, p := range c.pulls {
			if _, ok := p.Run.Values(quantity); !ok {
				continue
			}
			if mid, _, err := p.Run.steady(p.Sweep, quantity, bound{-60, 400}, math.Inf(1)); err == nil {
				side[c.design.after[i]] = append(side[c.design.after[i]], mid)
			}
		}
		for _, after := range []bool{false, true} {
			if low, high := extremes(side[after]); high-low > heatWithin {
				out = append(out, Remark{"heat", 0, fmt.Sprintf("the runs %s were not equally warm: %s from %.0f to %.0f Cel", sideName(after), quantity, low, high)})
			}
		}
		if b, a := average(side[false]), average(side[true]); math.Abs(b-a) > heatBetween {
			out = append(out, Remark{"heat", 0, fmt.Sprintf("the sides were not equally warm: %s %.0f Cel before and %.0f after", quantity, b, a)})
		}
	}
	return out
}

func sideName(after bool) string {
	if after {
		return "after"
	}
	return "before"
}

// extremes are the least and the greatest; 0 and 0 of none.
func extremes(values []float64) (low, high float64) {
	for i, v := range values {
		if i == 0 {
			low, high = v, v
		}
		low, high = min(low, v), max(high, v)
	}
	return low, high
}

// average is the mean; NaN of none, which is beyond nothing.
func average(values []float64) float64 {
	sum := 0.0
	for _, v := range values {
		sum += v
	}
	return sum / float64(len(values))
}

// cut names the runs that leave the others engine speeds which nothing is told of, where low and high
// (0 is no bound) do not leave them out as well, and says where engine speeds lack in between.
func (c *comparison) cut(low, high float64) []Remark {
	step, from, to := c.pulls[0].Curve.Step, c.grid[0], c.grid[len(c.grid)-1]
	first, last := from, to
	var late, early []string
	for _, p := range c.pulls {
		a, b := p.ends()
		first, last = min(first, a), max(last, b)
		if a >= from {
			late = append(late, p.Name)
		}
		if b <= to {
			early = append(early, p.Name)
		}
	}
	const beyond = "all means, peaks and engine speeds are without what lies beyond"
	var out []Remark
	if low == 0 && from-first > shortSteps*step {
		out = append(out, Remark{"short", from, fmt.Sprintf("cut short: %s begins at %.0f 1/min, where others begin at %.0f: %s", strings.Join(late, ", "), from, first, beyond)})
	}
	if high == 0 && last-to > shortSteps*step {
		out = append(out, Remark{"short", to, fmt.Sprintf("cut short: %s ends at %.0f 1/min, where others go on to %.0f: %s", strings.Join(early, ", "), to, last, beyond)})
	}
	if lack := math.Round((to-from)/step) + 1 - float64(len(c.grid)); lack > 0 {
		out = append(out, Remark{"gap", 0, fmt.Sprintf("%.0f engine speeds from %.0f to %.0f 1/min are left out: not every run has samples there", lack, from, to)})
	}
	return out
}
