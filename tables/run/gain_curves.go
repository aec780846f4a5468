package run

import (
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// confidence of the interval that a gain must exceed: of a hundred runs without any gain, one is
// let through.
const confidence = 0.99

// Compare is the gain of after over before, with the mean and the area over the band from low to
// high (0 and 0: all that every run covers). With two runs or more on each side, a gain is shown if it
// is beyond half the width of its 99 per cent interval (Student's t, the spread of both sides
// pooled, so runs count, not samples); with one run a side the spread cannot be told and nothing is
// shown. Runs at two places, or corrected differently, or on two grids, are not compared.
func Compare(before, after []*Curve, low, high float64) (*Gain, error) {
	if len(before) == 0 || len(after) == 0 {
		return nil, errors.New("a gain needs a run before and a run after")
	}
	all := append(append([]*Curve{}, before...), after...)
	if err := alike(all); err != nil {
		return nil, err
	}
	c := before[0]
	from, to := c.Points[0].Speed, c.Points[len(c.Points)-1].Speed
	for _, o := range all[1:] {
		from, to = max(from, o.Points[0].Speed), min(to, o.Points[len(o.Points)-1].Speed)
	}
	if low == 0 && high == 0 {
		low, high = from, to
	}
	if !(low >= from && high <= to && low < high) {
		return nil, fmt.Errorf("a band of %g to %g 1/min; allowed: inside %g to %g, which every run covers", low, high, from, to)
	}
	g := &Gain{Place: c.Place, Correction: c.Correction.Standard, RunsBefore: len(before), RunsAfter: len(after),
		SpreadKnown: len(before) > 1 && len(after) > 1, Low: low, High: high}
	g.overSpeed(before, after, from, to)
	amount := func(unit string, of func(*Curve) (value, speed float64)) Amount {
		return compareAmount(before, after, unit, of)
	}
	g.PeakTorque = amount("N.m", func(c *Curve) (float64, float64) { return c.PeakTorque.Torque, c.PeakTorque.Speed })
	g.PeakPower = amount("kW", func(c *Curve) (float64, float64) { return c.PeakPower.Power, c.PeakPower.Speed })
	torque := func(p Point) float64 { return p.Torque }
	power := func(p Point) float64 { return p.Power }
	g.AreaTorque = amount("N.m/min", func(c *Curve) (float64, float64) { return c.area(torque, low, high), 0 })
	g.AreaPower = amount("kW/min", func(c *Curve) (float64, float64) { return c.area(power, low, high), 0 })
	g.MeanTorque = amount("N.m", func(c *Curve) (float64, float64) { return c.area(torque, low, high) / (high - low), 0 })
	g.MeanPower = amount("kW", func(c *Curve) (float64, float64) { return c.area(power, low, high) / (high - low), 0 })
	g.Verdict = g.words()
	return g, nil
}

// alike refuses curves that must not be compared.
func alike(curves []*Curve) error {
	c := curves[0]
	for _, o := range curves[1:] {
		switch {
		case o.Place != c.Place:
			return fmt.Errorf("%s is torque at the %s and %s at the %s: the two are never compared", c.Run, c.Place, o.Run, o.Place)
		case o.Correction.Standard != c.Correction.Standard:
			return fmt.Errorf("%s is corrected by %s and %s by %s: runs corrected differently are not compared", c.Run, c.Correction.Title, o.Run, o.Correction.Title)
		case o.Step != c.Step:
			return fmt.Errorf("%s has a grid of %g 1/min and %s one of %g: one grid is needed", c.Run, c.Step, o.Run, o.Step)
		}
		a, b := c.Points[0].Speed, c.Points[len(c.Points)-1].Speed
		if n := len(o.Points); min(b, o.Points[n-1].Speed)-max(a, o.Points[0].Speed) < c.Step {
			return fmt.Errorf("%s and %s have no engine speeds in common", c.Run, o.Run)
		}
	}
	return nil
}

// overSpeed fills the gain at every grid speed that all runs have.
func (g *Gain) overSpeed(before, after []*Curve, from, to float64) {
	for _, p := range before[0].Points {
		if p.Speed < from || p.Speed > to {
			continue
		}
		t := compareAmount(before, after, "N.m", func(c *Curve) (float64, float64) { return c.on(p.Speed).Torque, 0 })
		w := compareAmount(before, after, "kW", func(c *Curve) (float64, float64) { return c.on(p.Speed).Power, 0 })
		g.Points = append(g.Points, GainPoint{Speed: p.Speed, TorqueBefore: t.Before, TorqueAfter: t.After, PowerBefore: w.Before, PowerAfter: w.After,
			Torque: t.Gain, Power: w.Gain, TorqueSpread: t.Spread, PowerSpread: w.Spread, Shown: t.Shown})
	}
}

// on is the curve's own point at a grid speed.
func (c *Curve) on(speed float64) Point {
	i := int(math.Round((speed - c.Points[0].Speed) / c.Step))
	return c.Points[min(max(i, 0), len(c.Points)-1)]
}

// area is the integral of a value over engine speed, by straight lines between grid points.
func (c *Curve) area(of func(Point) float64, low, high float64) float64 {
	sum := 0.0
	for i := 1; i < len(c.Points); i++ {
		a, b := c.Points[i-1], c.Points[i]
		lo, hi := max(low, a.Speed), min(high, b.Speed)
		if lo >= hi {
			continue
		}
		value := func(speed float64) float64 {
			t := (speed - a.Speed) / (b.Speed - a.Speed)
			return float64(of(a)*(1-t)) + float64(of(b)*t)
		}
		sum += float64((value(lo) + value(hi)) / 2 * (hi - lo))
	}
	return sum
}

// compareAmount is one number of each run, before and after.
func compareAmount(before, after []*Curve, unit string, of func(*Curve) (value, speed float64)) Amount {
	side := func(curves []*Curve) (value, speed, squares float64) {
		n := float64(len(curves))
		for _, c := range curves {
			v, s := of(c)
			value += v / n
			speed += s / n
		}
		for _, c := range curves {
			v, _ := of(c)
			squares += float64((v - value) * (v - value))
		}
		return value, speed, squares
	}
	a := Amount{Unit: unit}
	var sb, sa float64
	a.Before, a.SpeedBefore, sb = side(before)
	a.After, a.SpeedAfter, sa = side(after)
	a.Gain = a.After - a.Before
	nb, na := float64(len(before)), float64(len(after))
	if nb < 2 || na < 2 {
		return a
	}
	t := distuv.StudentsT{Mu: 0, Sigma: 1, Nu: nb + na - 2}.Quantile((1 + confidence) / 2)
	a.Spread = t * math.Sqrt((sb+sa)/(nb+na-2)*(1/nb+1/na))
	a.Shown = math.Abs(a.Gain) > a.Spread
	return a
}

// words is what was shown, by the mean over the band.
func (g *Gain) words() string {
	m := g.MeanTorque
	where := fmt.Sprintf("mean torque from %g to %g 1/min at the %s", g.Low, g.High, g.Place)
	switch {
	case !g.SpreadKnown:
		return fmt.Sprintf("%s: %+.1f N.m, not shown: with one run on a side the spread between runs cannot be told", where, m.Gain)
	case !m.Shown:
		return fmt.Sprintf("%s: %+.1f N.m, not shown: within the spread of ±%.1f N.m", where, m.Gain, m.Spread)
	}
	return fmt.Sprintf("%s: %+.1f N.m, shown: beyond the spread of ±%.1f N.m (%d runs before, %d after)", where, m.Gain, m.Spread, g.RunsBefore, g.RunsAfter)
}
