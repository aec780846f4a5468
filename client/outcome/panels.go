package outcome

import (
	"math"
	"strings"

	"witnessmark/tables/run"
	"witnessmark/tables/surface"
)

// Curves is torque and power over engine speed: the mean of each side over its runs, the runs
// themselves faint beside it, and the points as they were recorded.
func (o *Outcome) Curves() []Panel {
	torque, power := o.Units.Torque()[0], o.Units.Power()[0]
	panels := []Panel{
		{Title: "Torque in " + torque.Name + o.where(), Height: 160},
		{Title: "Power in " + power.Name + o.where(), Height: 160},
	}
	for _, when := range []string{"before", "after"} {
		curves := o.side(when)
		for _, c := range curves {
			o.single(panels, c, when, len(curves) > 1, torque, power)
		}
		if len(curves) > 1 {
			o.mean(panels, curves, when, torque, power)
		}
	}
	return append(panels, o.gained(torque))
}

// gained is the gain in torque over engine speed, between faint lines where its interval is known.
func (o *Outcome) gained(torque Unit) Panel {
	p := Panel{Title: "Torque gained in " + torque.Name + o.where(), Height: 80}
	if o.Gain == nil {
		return p
	}
	gain := Line{After: true, Name: "after less before"}
	low, high := Line{After: true, Faint: true}, Line{After: true, Faint: true}
	for _, g := range o.Gain.GetPoints() {
		gain.X, gain.Y = append(gain.X, g.GetSpeed()), append(gain.Y, g.GetGain()/torque.Per)
		if g.PlusMinus != nil {
			low.Y = append(low.Y, (g.GetGain()-g.GetPlusMinus())/torque.Per)
			high.Y = append(high.Y, (g.GetGain()+g.GetPlusMinus())/torque.Per)
		}
	}
	p.Lines = []Line{gain}
	if len(low.Y) > 0 {
		gain.Name, low.X, high.X = "after less before, and its interval", gain.X, gain.X
		p.Lines = []Line{gain, low, high}
	}
	return p
}

// where is the place of the measurement, where it is the same in every run.
func (o *Outcome) where() string {
	var at []string
	for _, m := range o.Runs {
		if m.Curve != nil {
			at = append(at, place(m.Curve.Place))
		}
	}
	for _, a := range at {
		if a != at[0] {
			return ", at the crank and at the wheels: not to be compared"
		}
	}
	if len(at) == 0 {
		return ""
	}
	return ", " + at[0]
}

// single adds one run: faint where its side has several.
func (o *Outcome) single(p []Panel, c *run.Curve, when string, faint bool, torque, power Unit) {
	raw := Line{After: when == "after", Dots: true, Faint: true}
	line := Line{Name: when, After: when == "after", Faint: faint}
	rawPower, linePower := raw, line
	for _, pt := range c.Raw {
		raw.X, raw.Y, rawPower.Y = append(raw.X, pt.Speed), append(raw.Y, pt.Torque/torque.Per), append(rawPower.Y, pt.Power/power.Per)
	}
	for _, pt := range c.Points {
		line.X, line.Y, linePower.Y = append(line.X, pt.Speed), append(line.Y, pt.Torque/torque.Per), append(linePower.Y, pt.Power/power.Per)
	}
	rawPower.X, linePower.X = raw.X, line.X
	p[0].Lines = append(p[0].Lines, raw, line)
	p[1].Lines = append(p[1].Lines, rawPower, linePower)
}

// mean adds the mean of a side at the speeds that all of its runs have.
func (o *Outcome) mean(p []Panel, curves []*run.Curve, when string, torque, power Unit) {
	line := Line{Name: when + ", mean of runs", After: when == "after"}
	linePower := line
	for _, at := range curves[0].Points {
		t, w, n := 0.0, 0.0, 0
		for _, c := range curves {
			for _, pt := range c.Points {
				if pt.Speed == at.Speed {
					t, w, n = t+pt.Torque, w+pt.Power, n+1
				}
			}
		}
		if n == len(curves) {
			line.X, line.Y = append(line.X, at.Speed), append(line.Y, t/float64(n)/torque.Per)
			linePower.Y = append(linePower.Y, w/float64(n)/power.Per)
		}
	}
	linePower.X = line.X
	p[0].Lines, p[1].Lines = append(p[0].Lines, line), append(p[1].Lines, linePower)
}

// watched are the channels that tell what the engine was doing, where runs have them.
var watched = []struct{ quantity, title string }{
	{"manifold_pressure", "Manifold pressure, absolute"}, {"lambda", "Lambda"},
	{"ignition_advance", "Ignition advance"}, {"knock_retard", "Knock retard"},
}

// bin is the width over which a watched channel is averaged, 1/min.
const bin = 100.0

// Watched is boost, lambda, advance and knock retard over engine speed on each run's sweep.
func (o *Outcome) Watched() []Panel {
	var out []Panel
	for _, w := range watched {
		p := Panel{Height: 76}
		unit := ""
		named := map[string]bool{}
		for _, m := range o.Runs {
			values, ok := m.Run.Values(w.quantity)
			speed, has := m.Run.Values("engine_speed")
			if !ok || !has || m.Other || m.Sweep.To <= m.Sweep.From || m.Sweep.To > len(values) || m.Sweep.To > len(speed) {
				continue
			}
			unit = m.Run.Unit(w.quantity)
			l := Line{Name: m.When, After: m.When == "after", Faint: named[m.When]}
			named[m.When] = true
			l.X, l.Y = binned(speed[m.Sweep.From:m.Sweep.To], values[m.Sweep.From:m.Sweep.To])
			p.Lines = append(p.Lines, l)
		}
		p.Title = w.title
		switch unit {
		case "", "1":
		case "deg":
			p.Title += " in °"
		default:
			p.Title += " in " + spelled(unit)
		}
		out = append(out, p)
	}
	return out
}

// spelled writes UCUM codes as people do.
func spelled(s string) string {
	return strings.NewReplacer("N.m", "N·m").Replace(s)
}

// binned is the mean of values in every bin of speed that holds any, in rising order.
func binned(speed, values []float32) (x, y []float64) {
	sum, n := map[int]float64{}, map[int]int{}
	low, high := math.MaxInt, math.MinInt
	for i, s := range speed {
		if !surface.Finite(float64(s), float64(values[i])) {
			continue
		}
		k := int(math.Round(float64(s) / bin))
		sum[k] += float64(values[i])
		n[k]++
		low, high = min(low, k), max(high, k)
	}
	for k := low; k <= high; k++ {
		if n[k] > 0 {
			x, y = append(x, float64(k)*bin), append(y, sum[k]/float64(n[k]))
		}
	}
	return x, y
}
