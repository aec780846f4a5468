package run

import (
	"math"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
)

// The values of a run that are compared, before those at each engine speed.
const (
	meanTorque = iota
	meanPower
	peakTorque
	peakPower
	amounts
)

// comparison is the runs of both sides over the engine speeds that all have.
type comparison struct {
	pulls  []*Pull // before, then after
	design *design
	grid   []float64   // 1/min
	torque [][]float64 // N.m, of each run at each engine speed, uncorrected
}

// compared is one value in comparison; width is known where the spread can be told and may show something.
type compared struct {
	effect
	width float64
	known bool
}

// effects is every value in comparison, each run's torque times its factor.
func (c *comparison) effects(factor func(*Pull) float64) []compared {
	values := make([][]float64, amounts+len(c.grid))
	for i, p := range c.pulls {
		for k, v := range c.valuesOf(c.torque[i], factor(p)) {
			values[k] = append(values[k], v)
		}
	}
	out := make([]compared, len(values))
	for k, v := range values {
		out[k].effect = c.design.of(v)
	}
	return out
}

// valuesOf is the amounts of one run, and its torque at each engine speed.
func (c *comparison) valuesOf(torque []float64, factor float64) []float64 {
	out := make([]float64, amounts, amounts+len(torque))
	for i, t := range torque {
		t *= factor
		power := Power(t, c.grid[i])
		if i == 0 || t > out[peakTorque] {
			out[peakTorque] = t
		}
		if i == 0 || power > out[peakPower] {
			out[peakPower] = power
		}
		out = append(out, t)
	}
	for i := 1; i < len(torque); i++ {
		half := (c.grid[i] - c.grid[i-1]) / 2
		out[meanTorque] += float64(half * (out[amounts+i-1] + out[amounts+i]))
		out[meanPower] += float64(half * (Power(out[amounts+i-1], c.grid[i-1]) + Power(out[amounts+i], c.grid[i])))
	}
	width := c.grid[len(c.grid)-1] - c.grid[0]
	out[meanTorque] /= width
	out[meanPower] /= width
	return out
}

// widths sets how far each value is uncertain: the critical times its standard error, for peaks and
// single engine speeds no less than that of all engine speeds together, and what the weather adds.
func (c *comparison) widths(values []compared, weather []float64) {
	nb, na := c.design.sides()
	if nb < 2 || na < 2 || c.design.freedom() < 1 {
		return
	}
	var together, fastest float64
	for i := range c.grid {
		e := values[amounts+i].err
		together += float64(e * e)
	}
	together = math.Sqrt(together / float64(len(c.grid)))
	fastest = Power(together, c.grid[len(c.grid)-1])
	critical := c.design.critical(c.grid[len(c.grid)-1] - c.grid[0])
	for k := range values {
		least := together
		switch {
		case k == meanTorque || k == meanPower:
			least = 0
		case k == peakPower:
			least = fastest
		case k >= amounts && min(nb, na) < leastBySpeed:
			continue
		}
		values[k].width, values[k].known = float64(critical*max(values[k].err, least))+weather[k], true
	}
}

func (c *comparison) amount(v compared) *calibrationv1.GainAmount {
	a := &calibrationv1.GainAmount{Before: v.before, After: v.after, Gain: v.after - v.before}
	if v.known {
		a.PlusMinus, a.Shown = &v.width, math.Abs(a.Gain) > v.width
	}
	return a
}
