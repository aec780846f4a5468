package limits

import (
	"math"
	"slices"
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
	inside := func(r *Run) { r.Channels[1].Values = []float64{50, 50, 50, 50, 50} }
	for _, c := range []struct {
		name       string
		base, cand sheet
		change     func(*Run)
		want       string
	}{
		// The point that leaves by the largest share of a span is the worst: 130 against 100, along y.
		{"no run before", narrow, narrow, nil, "m introduced 3x 130/100 by 30 x=900 y=130"},
		// The car was at all of these points before.
		{"as far before", narrow, narrow, func(r *Run) { r.Before = []*Run{run} }, "m inherited 3x 130/100 by 30 x=900 y=130"},
		// The table ended at 6000 then, so that 5500 was inside; loads lay outside as they do now.
		{"the axis grew short", table(1000, 6000), narrow, func(r *Run) { r.Before = []*Run{run} }, "m introduced 1x 5500/5000 by 500 x=5500 y=60; m inherited 2x 130/100 by 30 x=900 y=130"},
		// It ended at 4500 then, and 5500 lay outside by 1000: now by 500.
		{"the axis grew long", table(1000, 4500), narrow, func(r *Run) { inside(r); r.Before = []*Run{{Channels: slices.Clone(r.Channels)}} }, "m inherited 2x 5500/5000 by 500 x=5500 y=50"},
		// The run before reached 5300 and 910: 5500 and 900 are further out.
		{"less far before", narrow, narrow, func(r *Run) {
			inside(r)
			r.Before = []*Run{{Channels: []RunChannel{{"engine_speed", "1/min", []float64{5300, 910}}}}, {Channels: []RunChannel{{"torque", "N.m", []float64{1}}}}}
		}, "m introduced 2x 5500/5000 by 500 x=5500 y=50"},
		// 100 Hz is 6000 1/min, and 90 Hz is 5400.
		{"another unit", narrow, narrow, func(r *Run) {
			inside(r)
			r.Channels[0] = RunChannel{"engine_speed", "Hz", []float64{50, 100, 50, 50, 50}}
			r.Before = []*Run{{Channels: []RunChannel{{"engine_speed", "Hz", []float64{90}}}}}
		}, "m introduced 1x 6000/5000 by 1000 x=6000 y=50"},
		// A sample kept as a single float is not outside by its rounding.
		{"rounding", narrow, table(1000, 5000.1), func(r *Run) {
			inside(r)
			r.Channels[0].Values = []float64{float64(float32(5000.1)), 3000, 3000, 3000, 3000}
		}, ""},
		{"falling breakpoints", narrow, table(5000, 1000), inside, "m introduced 2x 5500/5000 by 500 x=5500 y=50"},
	} {
		t.Run(c.name, func(t *testing.T) {
			in := judging([]sheet{c.base}, []sheet{c.cand})
			in.Changed = nil // it judges every table
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

// A sample each 0.1 s, of which some are at 6000 where the axis ends at 5000: each stands for 0.1 s, the
// first and the last for half of that.
func TestCoversForHowLong(t *testing.T) {
	m := sheet{id: "m", unit: "deg", x: []float64{1000, 5000}, v: make([]float64, 2)}
	for _, c := range []struct {
		name            string
		rule            string
		samples         int // over samples-1 tenths of a second
		outside, before int
		want            string
	}{
		{"half a per cent of 10 s is one half of 0.1 s", `{"covers":{}}`, 101, 1, 0, "m introduced 1x 6000/5000 by 1000 x=6000"},
		{"0.1 s of 20.1 s is less", `{"covers":{}}`, 202, 1, 0, ""},
		{"0.2 s of 100 s is not more than 0.2 s", `{"covers":{}}`, 1001, 2, 0, ""},
		{"0.3 s of 100 s is", `{"covers":{}}`, 1001, 3, 0, "m introduced 3x 6000/5000 by 1000 x=6000"},
		{"two per cent are allowed", `{"covers":{"share":2}}`, 101, 2, 0, ""},
		{"one per cent is", `{"covers":{"share":1}}`, 101, 2, 0, "m introduced 2x 6000/5000 by 1000 x=6000"},
		{"none is", `{"covers":{"share":0}}`, 10001, 1, 0, "m introduced 1x 6000/5000 by 1000 x=6000"},
		// Three points at 5500 as before, and one at 6000 that by itself is too short to count.
		{"a moment further than before", `{"covers":{}}`, 1001, 1, 3, "m inherited 4x 6000/5000 by 1000 x=6000"},
		{"all within", `{"covers":{}}`, 1001, 0, 0, ""},
	} {
		speeds, times := make([]float64, c.samples), make([]float64, c.samples)
		for i := range speeds {
			speeds[i], times[i] = 3000, float64(i)/10
		}
		for i := range c.outside {
			speeds[5+i] = 6000
		}
		for i := range c.before {
			speeds[50+i] = 5500
		}
		in := judging([]sheet{m}, []sheet{m})
		in.Run = &Run{Channels: []RunChannel{{"engine_speed", "1/min", speeds}}, Time: times, Before: []*Run{{Channels: []RunChannel{{"engine_speed", "1/min", []float64{5500}}}}}}
		if got := sayAll(judged(t, in, rule(c.rule)).Findings); got != c.want {
			t.Errorf("%s: got %q, want %q", c.name, got, c.want)
		}
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
	if f := judged(t, in, rule(`{"covers":{}}`)).Findings[0]; f.Count != 1 {
		t.Errorf("a hole in the recording counts as outside: %s", say(f))
	}
	in.Run.Time = []float64{0, 3}
	if f := judged(t, in, rule(`{"covers":{}}`)).Findings[0]; !strings.Contains(f.Detail, "1.5 s of the run's 3 s lie outside load") {
		t.Errorf("%q does not say for how long", f.Detail)
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
	in.Changed = nil
	if out := judged(t, in, rule(`{"covers":{}}`)); len(out.Findings)+len(out.Unjudged) != 0 || len(out.Passed) != 1 {
		t.Errorf("a table that nobody touched or named: %v, %v", out.Unjudged, out.Passed)
	}
	if out := judged(t, in, rule(`{"select":{"tables":["m"]},"covers":{}}`)); len(out.Unjudged) != 1 {
		t.Errorf("a table that is named: %v", out.Passed)
	}
	scalar := sheet{id: "s", unit: "kPa", v: []float64{1}}
	in = judging([]sheet{scalar}, []sheet{scalar})
	in.Run = &Run{Channels: []RunChannel{{"engine_speed", "1/min", []float64{3000}}}}
	if out := judged(t, in, rule(`{"covers":{}}`)); len(out.Findings)+len(out.Unjudged)+len(out.JudgedBy) != 0 {
		t.Errorf("a scalar has no axis to be outside of: %v %v", out.Findings, out.Unjudged)
	}
}
