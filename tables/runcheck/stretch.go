package runcheck

import (
	"math"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/severity"
)

// stretch is samples that are beyond something, one after the other but for what noise puts inside.
type stretch struct {
	from, worst, samples int
	seconds, most        float64
}

// How long is more than a spike: two samples, and so many seconds. Common practice, no source.
const (
	leastSeconds = 0.2
	leastSamples = 2
)

// beyond finds the stretches that last for leastSeconds, and gives the one that goes furthest with the time of all of them.
// excess is how far a sample is beyond; inside it is negative, or NaN.
func (c *check) beyond(excess func(i int) float64) (worst stretch, seconds float64) {
	var now stretch
	inside := 0.0 // seconds since the last sample beyond
	end := func() {
		if now.samples >= leastSamples && now.seconds >= leastSeconds*(1-1e-6) {
			seconds += now.seconds
			if worst.samples == 0 || now.most > worst.most {
				worst = now
			}
		}
		now = stretch{}
	}
	for i := range c.share {
		e := excess(i)
		if !(e >= 0) {
			if inside += float64(c.share[i]); now.samples > 0 && inside > leastSeconds/2 {
				end()
			}
			continue
		}
		if now.samples == 0 {
			now = stretch{from: i, worst: i, most: e}
		}
		inside = 0
		now.samples++
		now.seconds += float64(c.share[i])
		if e > now.most {
			now.worst, now.most = i, e
		}
	}
	end()
	return worst, seconds
}

// grade is how far is how bad; worst first.
type grade struct {
	level severity.Level
	from  float64
}

// graded is the worst grade that some stretch reaches.
func (c *check) graded(grades []grade, value func(i int) float64) (grade, stretch, float64, bool) {
	for _, g := range grades {
		if s, seconds := c.beyond(func(i int) float64 { return value(i) - g.from }); s.samples > 0 {
			return g, s, seconds, true
		}
	}
	return grade{}, stretch{}, 0, false
}

// find adds a finding about a side, nil for none, at a sample.
func (c *check) find(kind string, level severity.Level, s *side, i int, text string) {
	f := &calibrationv1.RunFinding{Kind: kind, Severity: string(level), Time: c.Run.Time[i], Text: text}
	if s != nil {
		f.Table, f.Signal, f.Inputs = s.table, s.signal, s.inputs(i)
	} else {
		f.Inputs = map[string]float64{}
		for _, ch := range c.Run.Channels {
			if v, ok := c.Run.Values(ch.Quantity); ok && (ch.Quantity == "engine_speed" || ch.Quantity == pressure || ch.Quantity == "cylinder_filling") && !math.IsNaN(float64(v[i])) {
				f.Inputs[ch.Quantity] = float64(v[i])
			}
		}
	}
	c.out.Findings = append(c.out.Findings, f)
}
