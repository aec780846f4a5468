package run

import (
	"fmt"
	"math"
	"strings"
)

// weathered is what the weather can have made of each value's gain, and what is to be said of it.
type weathered struct {
	plusMinus []float64
	remarks   []Remark
}

// weather works the gains out anew with and without a correction. Where nothing is corrected, where the
// engine has forced induction and may follow the weather or not, and outside the standard's range, all
// that a correction changes in a gain is uncertain; else what the standard is good for. The steps in which
// the weather was recorded are added.
func (c *comparison) weather(asked []compared) weathered {
	w := weathered{plusMinus: make([]float64, len(asked))}
	boosted := false
	for _, p := range c.pulls {
		boosted = boosted || p.boosted
	}
	if boosted {
		w.remarks = append(w.remarks, Remark{"correction", 0, ForcedNote})
	}
	corrected := c.pulls[0].Curve.Correction.Standard
	if corrected != None {
		plain := c.effects(func(*Pull) float64 { return 1 })
		outside := c.outOfRange()
		share := doubtfulShare
		if boosted || len(outside) > 0 {
			share = 1
		}
		w.add(asked, plain, share)
		w.steps(c, corrected, asked)
		w.remarks = append(w.remarks, outside...)
	}
	if !c.recorded(&w) {
		return w
	}
	var told Standard
	for _, std := range []Standard{ISO1585, J1349, DIN70020} {
		factor := c.factors(std)
		if factor == nil {
			continue
		}
		if told == "" {
			told = std
		}
		if corrected == None {
			w.add(asked, c.effects(func(p *Pull) float64 { return factor[p] }), 1)
		}
	}
	if corrected == None {
		w.steps(c, told, asked)
	}
	w.differ(c, told, asked[meanTorque], corrected == None || boosted)
	return w
}

// add widens by a share of what the other way of correcting makes of each gain, where that is more.
func (w *weathered) add(asked, other []compared, share float64) {
	for k := range asked {
		off := (asked[k].after - asked[k].before) - (other[k].after - other[k].before)
		w.plusMinus[k] = max(w.plusMinus[k], share*math.Abs(off))
	}
}

// steps widens by what the steps of the recorded weather make of each side.
func (w *weathered) steps(c *comparison, std Standard, asked []compared) {
	var before, after, nb, na float64
	for i, p := range c.pulls {
		off := stepsOf(std, p.air.Weather, p.air.half)
		if c.design.after[i] {
			after, na = after+off, na+1
		} else {
			before, nb = before+off, nb+1
		}
	}
	for k, v := range asked {
		w.plusMinus[k] += math.Hypot(float64(before/nb*v.before), float64(after/na*v.after))
	}
}

// recorded reports whether every run has its weather, and remarks those that have none.
func (c *comparison) recorded(w *weathered) bool {
	var why []error
	for _, p := range c.pulls {
		if p.air == nil {
			why = append(why, p.noAir)
		}
	}
	if len(why) == 0 {
		return true
	}
	text := fmt.Sprintf("what the weather made of the gain is not known: %v", why[0])
	if n := len(why) - 1; n > 0 {
		text += fmt.Sprintf("; and so for %d more of %d runs", n, len(c.pulls))
	}
	w.remarks = append(w.remarks, Remark{"unrecorded", 0, text})
	return false
}

// factors is each run's by a standard, in its own weather and whatever the standard's range; nil where one
// has none.
func (c *comparison) factors(std Standard) map[*Pull]float64 {
	out := map[*Pull]float64{}
	for _, p := range c.pulls {
		f, err := Correct(std, p.air.Weather, true)
		if err != nil {
			return nil
		}
		out[p] = f.Factor
	}
	return out
}

// differ says by how much the sides' weather differs, where that is more than its steps.
func (w *weathered) differ(c *comparison, std Standard, mean compared, uncertain bool) {
	factor := c.factors(std)
	nb, na := c.design.sides()
	side := [2]air{}
	var f, steps [2]float64
	for i, p := range c.pulls {
		s, n := 0, nb
		if c.design.after[i] {
			s, n = 1, na
		}
		side[s].Pressure += p.air.Pressure / n
		side[s].Temperature += p.air.Temperature / n
		f[s] += factor[p] / n
		steps[s] += stepsOf(std, p.air.Weather, p.air.half) / n
	}
	change := f[0]/f[1] - 1 // of what an engine gives that follows the standard
	if math.Abs(change) <= steps[0]+steps[1] {
		return
	}
	text := fmt.Sprintf("the sides' weather differs: %.1f kPa and %.0f Cel before, %.1f kPa and %.0f Cel after; by %s that alone changes torque by %+.1f %%, in the mean %+.1f N·m",
		side[0].Pressure, side[0].Temperature, side[1].Pressure, side[1].Temperature, standards[std].title, 100*change, change*mean.before)
	if uncertain {
		text += "; it is part of the interval"
	}
	w.remarks = append(w.remarks, Remark{"weather", 0, text})
}

// outOfRange names the runs whose correction the standard does not allow.
func (c *comparison) outOfRange() []Remark {
	var names []string
	why := ""
	for _, p := range c.pulls {
		if p.Curve.Correction.OutOfRange {
			names, why = append(names, p.Name), p.Curve.Correction.Why
		}
	}
	if why == "" {
		return nil
	}
	return []Remark{{"correction", 0, fmt.Sprintf("corrected outside the range of %s: %s (%s); all that it changes is part of the interval", c.pulls[0].Curve.Correction.Title, why, strings.Join(names, ", "))}}
}
