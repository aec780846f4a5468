package run

import (
	"errors"
	"fmt"
	"math"
	"slices"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
)

// leastBySpeed is how many runs a side must have before an engine speed shows anything by itself.
const leastBySpeed = 3

// Gained is the gain of after over before: mean torque and power over the grid's engine speeds from low
// to high (0 and 0: all that every run has), the peaks there, and torque at each of them. A gain is shown
// if it is beyond its plus_minus, the half width of intervals that hold together in 99 of 100
// jobs: what the runs of a side differ by (so runs count, not samples), and what the
// weather can have made. With one run on a side nothing is shown, and with two nothing at single engine
// speeds. Runs at two places, corrected differently, or on two grids are not compared.
func Gained(before, after []*Pull, low, high float64) (*calibrationv1.RunGain, error) {
	if len(before) == 0 || len(after) == 0 {
		return nil, errors.New("a gain needs a run before and a run after")
	}
	before, after, twice, err := once(before, after)
	if err != nil {
		return nil, err
	}
	all := append(append([]*Pull{}, before...), after...)
	if err := mayCompare(all); err != nil {
		return nil, err
	}
	c := &comparison{pulls: all, design: designOf(before, after)}
	if err := c.band(low, high); err != nil {
		return nil, err
	}
	first := all[0].Curve
	from, to := c.grid[0], c.grid[len(c.grid)-1]
	g := &calibrationv1.RunGain{Place: string(first.Place), Correction: string(first.Correction.Standard),
		RunsBefore: uint32(len(before)), RunsAfter: uint32(len(after)), From: from, To: to}
	asked := c.effects(func(p *Pull) float64 { return p.Curve.Correction.Factor })
	drift := c.drift(asked[meanTorque])
	if c.design.drift {
		asked = c.effects(func(p *Pull) float64 { return p.Curve.Correction.Factor })
	}
	weather := c.weather(asked)
	c.widths(asked, weather.plusMinus)
	g.MeanTorque, g.MeanPower = c.amount(asked[meanTorque]), c.amount(asked[meanPower])
	g.PeakTorque, g.PeakPower = c.amount(asked[peakTorque]), c.amount(asked[peakPower])
	for i, speed := range c.grid {
		a := c.amount(asked[amounts+i])
		g.Points = append(g.Points, &calibrationv1.GainAtSpeed{Speed: speed, Gain: a.Gain, PlusMinus: a.PlusMinus, Shown: a.Shown})
	}
	if t, p := g.MeanTorque.PlusMinus, g.MeanPower.PlusMinus; t != nil && p != nil {
		g.LeastShown = &calibrationv1.LeastShown{Torque: *t, Power: *p}
	}
	for _, list := range [][]Remark{twice, c.fewRuns(), weather.remarks, drift, c.heat(), c.cut(low, high)} {
		for _, r := range list {
			g.Remarks = append(g.Remarks, &calibrationv1.RunRemark{Kind: r.Kind, Speed: r.Speed, Text: r.Text})
		}
	}
	g.Says = Sentence(g, "N·m", 1)
	return g, nil
}

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

// designOf takes the order from the pulls if all have one.
func designOf(before, after []*Pull) *design {
	d := &design{}
	known := true
	for side, pulls := range [][]*Pull{before, after} {
		for _, p := range pulls {
			d.after, d.order = append(d.after, side == 1), append(d.order, float64(p.Order))
			known = known && p.Order > 0
		}
	}
	if !known {
		for i := range d.order {
			d.order[i] = float64(i + 1)
		}
	}
	return d
}

// once leaves a recording out that a side has already, since it says nothing of what runs differ by; one
// that is on both sides is an error.
func once(before, after []*Pull) (b, a []*Pull, remarks []Remark, err error) {
	for side, pulls := range [][]*Pull{before, after} {
		for _, p := range pulls {
			same := func(o *Pull) bool { return p.sameAs(o) }
			if i := slices.IndexFunc(b, same); i >= 0 && side == 1 {
				return nil, nil, nil, fmt.Errorf("%s and %s are one recording; allowed: other runs before than after", b[i].Name, p.Name)
			}
			mine := &b
			if side == 1 {
				mine = &a
			}
			if i := slices.IndexFunc(*mine, same); i >= 0 {
				remarks = append(remarks, Remark{"twice", 0, fmt.Sprintf("%s and %s are one recording: it counts once", (*mine)[i].Name, p.Name)})
				continue
			}
			*mine = append(*mine, p)
		}
	}
	return b, a, remarks, nil
}

// mayCompare refuses runs that must not be compared.
func mayCompare(pulls []*Pull) error {
	first, c := pulls[0].Name, pulls[0].Curve
	for _, p := range pulls[1:] {
		o := p.Curve
		switch {
		case o.Place != c.Place:
			return fmt.Errorf("%s is torque at the %s and %s at the %s: the two are never compared", first, c.Place, p.Name, o.Place)
		case o.Correction.Standard != c.Correction.Standard:
			return fmt.Errorf("%s is corrected by %s and %s by %s: runs corrected differently are not compared", first, c.Correction.Title, p.Name, o.Correction.Title)
		case o.Step != c.Step:
			return fmt.Errorf("%s has a grid of %g 1/min and %s one of %g: one grid is needed", first, c.Step, p.Name, o.Step)
		}
	}
	return nil
}

// band finds the engine speeds from low to high that every run has; 0 is no bound.
func (c *comparison) band(low, high float64) error {
	if math.IsNaN(low) || math.IsNaN(high) || low < 0 || high < 0 || high != 0 && high <= low {
		return fmt.Errorf("a band of %g to %g 1/min; allowed: the lower engine speed first", low, high)
	}
	if high == 0 {
		high = math.Inf(1)
	}
	c.torque = make([][]float64, len(c.pulls))
	var from, to float64
	for _, at := range c.pulls[0].Curve.Points {
		row := make([]float64, 0, len(c.pulls))
		for _, p := range c.pulls {
			if t, ok := p.torque(at.Speed); ok {
				row = append(row, t)
			}
		}
		if len(row) < len(c.pulls) {
			continue
		}
		if from == 0 {
			from = at.Speed
		}
		if to = at.Speed; at.Speed < low || at.Speed > high {
			continue
		}
		c.grid = append(c.grid, at.Speed)
		for i, t := range row {
			c.torque[i] = append(c.torque[i], t)
		}
	}
	switch {
	case to == from:
		return errors.New("the runs have no two engine speeds in common")
	case low != 0 && low < from || !math.IsInf(high, 1) && high > to || len(c.grid) < 2:
		return fmt.Errorf("a band of %g to %g 1/min; allowed: inside %g to %g, which every run covers", low, high, from, to)
	}
	return nil
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
