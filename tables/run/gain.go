package run

import (
	"errors"

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
