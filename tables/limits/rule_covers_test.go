package limits

import (
	"math"
	"strings"
	"testing"
)

// The axes are 1000 to 5000 1/min and 20 to 100 %. By hand, of the five points: (3000, 50) is
// inside; (5500, 60) leaves x by 500, an eighth of its span; (5000, 100) lies on both ends and is
// inside; (900, 130) leaves x by 100, a fortieth, and y by 30, three eighths; (4000, 10) leaves y by
// 10, an eighth.
func TestCoversByHand(t *testing.T) {
	const r = `{"covers":{}}`
	table := func(x ...float64) sheet {
		return sheet{id: "m", unit: "deg", x: x, y: []float64{20, 100}, v: make([]float64, 2*len(x))}
	}
	run := &Run{SHA256: "aa", Channels: []RunChannel{
		{"engine_speed", "1/min", []float64{3000, 5500, 5000, 900, 4000}},
		{"load", "%", []float64{50, 60, 100, 130, 10}},
	}}
	narrow := table(1000, 5000)
	for _, c := range []struct {
		name       string
		base, cand sheet
		change     func(*Run)
		want       string
	}{
		// The point that leaves by the largest share of a span is the worst: 130 against 100, along y.
		{"two axes", table(1000, 6000), narrow, nil, "m introduced 1x 5500/5000 by 500 x=5500 y=60; m inherited 2x 130/100 by 30 x=900 y=130"},
		// The base ended at 5200, and 5500 lay outside by 300 already; now by 500.
		{"worse than it was", table(1000, 5200), narrow, nil, "m worsened 1x 5500/5000 by 500 x=5500 y=60; m inherited 2x 130/100 by 30 x=900 y=130"},
		{"all of it was there", narrow, narrow, nil, "m inherited 3x 130/100 by 30 x=900 y=130"},
		// 100 Hz is 6000 1/min; 60 Hz is 3600 and so on: 91.666 Hz is 5500.
		{"another unit", table(1000, 6000), narrow, func(r *Run) {
			r.Channels[0] = RunChannel{"engine_speed", "Hz", []float64{50, 100, 50, 50, 50}}
			r.Channels[1].Values = []float64{50, 50, 50, 50, 50}
		}, "m introduced 1x 6000/5000 by 1000 x=6000 y=50"},
		// A sample kept as a single float is not outside by its rounding.
		{"rounding", narrow, table(1000, 5000.1), func(r *Run) {
			r.Channels[0].Values = []float64{float64(float32(5000.1)), 3000, 3000, 3000, 3000}
			r.Channels[1].Values = []float64{50, 50, 50, 50, 50}
		}, ""},
		{"falling breakpoints", narrow, table(5000, 1000), func(r *Run) { r.Channels[1].Values = []float64{50, 50, 50, 50, 50} },
			"m inherited 2x 5500/5000 by 500 x=5500 y=50"},
	} {
		t.Run(c.name, func(t *testing.T) {
			in := judging([]sheet{c.base}, []sheet{c.cand})
			mine := *run
			mine.Channels = append([]RunChannel(nil), run.Channels...)
			if c.change != nil {
				c.change(&mine)
			}
			in.Run = &mine
			out := judged(t, in, rule(r))
			if got := sayAll(out.Findings); got != c.want {
				t.Errorf("got  %s\nwant %s", got, c.want)
			}
			if len(out.JudgedBy["m"]) != 1 {
				t.Errorf("it does not say that it looked: %v", out.JudgedBy)
			}
		})
	}
}

func TestCoversSaysWhere(t *testing.T) {
	m := sheet{id: "m", unit: "deg", x: []float64{1000, 5000}, y: []float64{20, 100}, v: make([]float64, 4)}
	in := judging([]sheet{m}, []sheet{m})
	in.Run = &Run{Channels: []RunChannel{
		{"engine_speed", "1/min", []float64{5500, 3000}}, {"load", "%", []float64{130, 50}},
	}}
	f := judged(t, in, rule(`{"covers":{}}`)).Findings[0]
	// 500 of 4000 against 30 of 80.
	if f.Worst.GetAlong() != "y" {
		t.Errorf("along %q, want y", f.Worst.GetAlong())
	}
	for _, want := range []string{"1 of the run's 2 points lie outside engine speed 1000 to 5000 1/min", "outside load 20 to 100 %"} {
		if !strings.Contains(f.Detail, want) {
			t.Errorf("%q does not say %q", f.Detail, want)
		}
	}
	in.Run.Channels[0].Values[1] = math.NaN()
	if f := judged(t, in, rule(`{"covers":{}}`)).Findings[0]; f.Count != 2 {
		t.Errorf("a sample that is no number counts as inside: %s", say(f))
	}
}

// Without a run the rule does not claim to have looked; with one that lacks a channel it says so.
func TestCoversWithoutARun(t *testing.T) {
	m := sheet{id: "m", unit: "deg", x: []float64{1000, 5000}, y: []float64{20, 100}, v: make([]float64, 4)}
	in := judging([]sheet{m}, []sheet{m})
	if out := judged(t, in, rule(`{"covers":{}}`)); len(out.Findings)+len(out.Unjudged)+len(out.JudgedBy) != 0 {
		t.Errorf("it looked at nothing and says %v %v %v", out.Findings, out.Unjudged, out.JudgedBy)
	}
	in.Run = &Run{Channels: []RunChannel{{"engine_speed", "1/min", []float64{3000}}}}
	out := judged(t, in, rule(`{"covers":{}}`))
	if len(out.Findings) != 0 || len(out.Unjudged) != 1 || out.Unjudged[0].Reason != "the run has no channel of load" {
		t.Errorf("got %v, unjudged %v", out.Findings, out.Unjudged)
	}
	scalar := sheet{id: "s", unit: "kPa", v: []float64{1}}
	in = judging([]sheet{scalar}, []sheet{scalar})
	in.Run = &Run{Channels: []RunChannel{{"engine_speed", "1/min", []float64{3000}}}}
	if out := judged(t, in, rule(`{"covers":{}}`)); len(out.Findings)+len(out.Unjudged)+len(out.JudgedBy) != 0 {
		t.Errorf("a scalar has no axis to be outside of: %v %v", out.Findings, out.Unjudged)
	}
}
