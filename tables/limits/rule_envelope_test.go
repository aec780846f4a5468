package limits

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/definition"
)

// envelope1 is a ceiling over engine speed: 12 at 1000, 15 at 2000, 40 at 3000.
const envelope1 = `{"envelope":{"side":"max","unit":"deg","x":{"quantity":"engine_speed","unit":"1/min","points":[1000,2000,3000]},"values":[[12,15,40]]}}`

func TestEnvelope(t *testing.T) {
	plain := func(v ...float64) sheet { return sheet{id: "ign", quantity: "ignition_advance", unit: "deg", v: v} }
	edges := func(a, b float64) []sheet { return one(plain(a, b).on(1000, 3000)) }
	const swapped = `{"envelope":{"side":"max","unit":"deg","x":{"quantity":"load","unit":"%","points":[0,100]},"y":{"quantity":"engine_speed","unit":"1/min","points":[1000,3000]},"values":[[10,20],[30,40]]}}`
	for _, c := range []judgeCase{
		// At 2000 the curve from 10 to 30 is 20, and the ceiling 15: 5 too high, at no cell. At its cells it
		// leaves 2 and 10.
		{"between cells", envelope1, edges(10, 10), edges(10, 30), "ign introduced 1x 20/15 by 5 x=2000", "ign -5 (20/15) x=2000", ""},
		// The base was (10+24)/2 = 17 there: 2 too high.
		{"worsened", envelope1, edges(10, 24), edges(10, 30), "ign worsened 1x 20/15 by 5 x=2000", "ign -5 (20/15) x=2000", ""},
		{"inside", envelope1, edges(10, 10), edges(10, 18), "", "ign 1 (14/15) x=2000", ""},
		// Past the last breakpoints both are held: 500 and 9000 see 12 and 40, 1 too high each. In between the curve is
		// 13 + 28*(v-500)/8500: 14.647 at 1000 (2.647 too high), 17.941 at 2000 (2.941), 21.2 at 3000.
		{"held", envelope1, one(plain(0, 0).on(500, 9000)), one(plain(13, 41).on(500, 9000)), "ign introduced 4x 17.9411765/15 by 2.94117647 x=2000", "-", ""},
		// Table over (engine speed, load), envelope over (load, engine speed). Limits at (1000,0) 10, (1000,100) 20,
		// (3000,0) 30, (3000,100) 40: a table of 25 everywhere is 15 and 5 too high at 1000.
		{"axes the other way round", swapped, one(plain(0, 0, 0, 0).grid([]float64{1000, 3000}, []float64{0, 100})), one(plain(25, 25, 25, 25).grid([]float64{1000, 3000}, []float64{0, 100})),
			"ign introduced 2x 25/10 by 15 x=1000 y=0 [0,0]", "ign -15 (25/10) x=1000 y=0", ""},
		// Load does not move the limit: 15 at 2000 in both rows.
		{"axis that the envelope lacks", envelope1, one(plain(0, 0, 0, 0).grid([]float64{1000, 3000}, []float64{0, 100})), one(plain(10, 30, 12, 12).grid([]float64{1000, 3000}, []float64{0, 100})),
			"ign introduced 1x 20/15 by 5 x=2000 y=0", "-", ""},
		{"table that lacks an axis", swapped, edges(0, 0), edges(99, 99), "", "", ""},
		// A step at 2000: 14 below it, 16 at it; the ceiling is 15.
		{"step, upper side", envelope1, one(plain(0, 0, 0, 0).on(1000, 2000, 2000, 3000)), one(plain(10, 14, 16, 30).on(1000, 2000, 2000, 3000)), "ign introduced 1x 16/15 by 1 x=2000 [0,2]", "-", ""},
		{"step, lower side", envelope1, one(plain(0, 0, 0, 0).on(1000, 2000, 2000, 3000)), one(plain(10, 17, 14, 30).on(1000, 2000, 2000, 3000)), "ign introduced 1x 17/15 by 2 x=2000 [0,1]", "-", ""},
		// The same stored falling: index 1 is above the step, index 2 below it.
		{"step, falling", envelope1, one(plain(0, 0, 0, 0).on(3000, 2000, 2000, 1000)), one(plain(30, 14, 17, 10).on(3000, 2000, 2000, 1000)), "ign introduced 1x 17/15 by 2 x=2000 [0,2]", "-", ""},
		{"floor", strings.Replace(envelope1, `"max"`, `"min"`, 1), edges(50, 50), edges(12, 38), "ign introduced 1x 38/40 by 2 x=3000 [0,1]", "ign -2 (38/40) x=3000", ""},
		{"broken axis", envelope1, one(ign(0, 0, 0)), one(ign(0, 0, 0).on(1, 3, 2)), "", "", "ign: the breakpoints along x neither rise nor fall"},
		{"NaN", envelope1, edges(10, 10), edges(10, nan), "ign introduced 2x NaN/15 by +Inf x=2000", "ign -Inf (NaN/15) x=2000", ""},
	} {
		t.Run(c.name, c.run)
	}
}

// 1000 and 3000 1/min are 100/6 and 50 1/s; 12 deg are pi/15 rad.
func TestEnvelopeConvertsUnits(t *testing.T) {
	const inRad = `{"envelope":{"side":"max","unit":"rad","x":{"quantity":"engine_speed","unit":"1/s","points":[10,50]},"values":[[0.10471975511965977,0.20943951023931953]]}}`
	// 0.1047… rad are 6 deg at 600 1/min, 12 at 3000: at 1800 it is 9, and the table 10.
	out := judged(t, judging(one(ign(0, 0).on(1800, 3000)), one(ign(10, 10).on(1800, 3000))), rule(inRad))
	if got := sayAll(out.Findings); got != "ign introduced 2x 10/6 by 4 x=600" {
		t.Errorf("got %s", got)
	}
}

// A rational table curves between its cells: raw 1..4 are 1000/raw.
func TestEnvelopeSaysWhatIsNotExact(t *testing.T) {
	s := sheet{id: "ign", unit: "deg", x: []float64{1000, 3000}, v: []float64{50, 100}, rational: &definition.Conversion{Rational: true, Num: [3]float64{1000, 0, 0}, Den: [3]float64{0, 1, 0}}}
	// 1000/50 = 20 at 1000; 1000/75 = 13.33 at 2000; 10 at 3000. Limits 12, 15, 40.
	out := judged(t, judging(one(s), one(s)), rule(envelope1))
	if got := sayAll(out.Findings); got != "ign inherited 1x 20/12 by 8 x=1000 [0,0]" {
		t.Errorf("got %s", got)
	}
	s.x, s.v = nil, []float64{50}
	out = judged(t, judging(one(s), one(s)), rule(`{"range":{"max":12}}`))
	if got := sayAll(out.Findings); got != "ign inherited 1x 20/12 by 8 [0,0]" {
		t.Errorf("a scalar has nothing between its cells: %s", got)
	}
}

// An index axis is never interpolated: limits on the same gears can be held against it, others not.
func TestEnvelopeOnGears(t *testing.T) {
	const on = `{"envelope":{"side":"max","unit":"deg","x":{"quantity":"gear","unit":"1","points":[%s]},"values":[[5,5,5]]}}`
	for points, want := range map[string]string{"1,2,3": "ign introduced 1x 6/5 by 1 x=2 [0,1]", "1,2,4": ""} {
		out := judged(t, judging(one(gears(1, 2, 3)), one(gears(1, 6, 3))), rule(fmt.Sprintf(on, points)))
		if got := sayAll(out.Findings); got != want || (want == "") != (len(out.Unjudged) == 1) {
			t.Errorf("%s: %s, unjudged %v", points, got, out.Unjudged)
		}
	}
}

// A base that cannot be held against the candidate at the same points takes nothing off a finding:
// it counts, and says why.
func TestBaseWithoutThePoints(t *testing.T) {
	on := strings.Replace(envelope1, "engine_speed", "gear", 1)
	on = strings.Replace(strings.Replace(on, "1/min", "1", 1), "1000,2000,3000", "1,2,3", 1)
	otherGears, otherAxis := gears(99, 99, 99).on(1, 2, 4), gears(99, 99, 99)
	otherAxis.xq = "step 1"
	for name, base := range map[string]sheet{"other gears": otherGears, "other quantity": otherAxis, "broken": gears(99, 99, 99).on(1, 3, 2)} {
		out := judged(t, judging(one(base), one(gears(13, 0, 0))), rule(on))
		if got := sayAll(out.Findings); got != "ign introduced 1x 13/12 by 1 x=1 [0,0]" || !strings.Contains(out.Findings[0].Detail, "the base could not be judged") {
			t.Errorf("%s: %s, %v", name, got, out.Findings)
		}
	}
}

// 0.1*3 is not 0.3, and still one operating point.
func TestRoundingMakesNoSecondPoint(t *testing.T) {
	tenth := 0.1
	s := sheet{id: "ign", unit: "deg", x: []float64{0, tenth * 3}, v: []float64{50, 50}}
	out := judged(t, judging(one(s), one(s)), envelopeRule("max", []float64{0, 0.3}, []float64{0}, []float64{40, 30}))
	if len(out.Passed) != 1 { // it has no load
		t.Fatalf("passed over %v", out.Passed)
	}
	s.y, s.v = []float64{0}, []float64{50, 50}
	out = judged(t, judging(one(s), one(s)), envelopeRule("max", []float64{0, 0.3}, []float64{0}, []float64{40, 30}))
	if got := sayAll(out.Findings); got != "ign inherited 2x 50/30 by 20 x=0.30000000000000004 y=0 [0,1]" {
		t.Errorf("got %s", got)
	}
}

// axisPoints draws strictly rising breakpoints.
func axisPoints(t *rapid.T, name string, atMost int) []float64 {
	at := rapid.Float64Range(-50, 50).Draw(t, name)
	out := []float64{at}
	for range rapid.IntRange(0, atMost-1).Draw(t, name+" more") {
		at += rapid.Float64Range(0.5, 40).Draw(t, name+" gap")
		out = append(out, at)
	}
	return out
}

func numbers(t *rapid.T, name string, n int) []float64 {
	return rapid.SliceOfN(rapid.Float64Range(-100, 100), n, n).Draw(t, name)
}

// weigh is this test's own interpolation: the hat weight of every cell, summed over the whole table.
func weigh(x, y, v []float64, px, py float64) float64 {
	hat := func(axis []float64, i int, p float64) float64 {
		p = math.Min(math.Max(p, axis[0]), axis[len(axis)-1])
		switch {
		case p == axis[i]:
			return 1
		case p < axis[i] && i > 0 && p > axis[i-1]:
			return 1 - (axis[i]-p)/(axis[i]-axis[i-1])
		case p > axis[i] && i+1 < len(axis) && p < axis[i+1]:
			return 1 - (p-axis[i])/(axis[i+1]-axis[i])
		}
		return 0
	}
	sum := 0.0
	for j := range y {
		for i := range x {
			sum += hat(x, i, px) * hat(y, j, py) * v[j*len(x)+i]
		}
	}
	return sum
}

func envelopeRule(side string, x, y, v []float64) *calibrationv1.Rule {
	js := func(vs []float64) string {
		var out []string
		for _, v := range vs {
			out = append(out, fmt.Sprintf("%.17g", v))
		}
		return "[" + strings.Join(out, ",") + "]"
	}
	var rows []string
	for j := range y {
		rows = append(rows, js(v[j*len(x):(j+1)*len(x)]))
	}
	return rule(fmt.Sprintf(`{"envelope":{"side":"%s","unit":"deg","x":{"quantity":"engine_speed","unit":"1/min","points":%s},"y":{"quantity":"load","unit":"%%","points":%s},"values":[%s]}}`,
		side, js(x), js(y), strings.Join(rows, ",")))
}

// samples are points all over an axis' reach and past it, and the points themselves.
func samples(a, b []float64) []float64 {
	lo, hi := math.Min(a[0], b[0])-5, math.Max(a[len(a)-1], b[len(b)-1])+5
	out := append(append([]float64{}, a...), b...)
	for i := range 23 {
		out = append(out, lo+(hi-lo)*float64(i)/22)
	}
	return out
}

// The exact check is never beaten by sampling, and equals it where the samples hold the joined points.
func TestEnvelopeIsNeverBeatenBySampling(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := sheet{id: "ign", unit: "deg", x: axisPoints(t, "x", 5), y: axisPoints(t, "y", 4)}
		s.v = numbers(t, "v", len(s.x)*len(s.y))
		ex, ey := axisPoints(t, "ex", 4), axisPoints(t, "ey", 4)
		ev := numbers(t, "ev", len(ex)*len(ey))
		side, sign := "max", 1.0
		if rapid.Bool().Draw(t, "floor") {
			side, sign = "min", -1
		}
		worst := math.Inf(-1)
		for _, py := range samples(s.y, ey) {
			for _, px := range samples(s.x, ex) {
				worst = math.Max(worst, sign*(weigh(s.x, s.y, s.v, px, py)-weigh(ex, ey, ev, px, py)))
			}
		}
		out := judged(t, judging(nil, one(s)), envelopeRule(side, ex, ey, ev))
		if got := -out.Margins[0].Margin; math.Abs(got-worst) > 1e-9 {
			t.Fatalf("exact %v, sampled %v", got, worst)
		}
		if got := len(out.Findings) == 1; got != (worst > 2e-7) && math.Abs(worst) > 2e-7 {
			t.Fatalf("found %v where sampling found %v", out.Findings, worst)
		}
		if len(out.Findings) == 1 && math.Abs(out.Findings[0].Worst.Excess-worst) > 1e-9 {
			t.Fatalf("excess %v, sampled %v", out.Findings[0].Worst.Excess, worst)
		}
	})
}

// A dip of the ceiling between two cells, of known depth at a known place, is the only thing found there;
// the cells themselves are all inside.
func TestEnvelopeFindsWhatLiesOnlyBetweenCells(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(2, 6).Draw(t, "n")
		s := sheet{id: "ign", unit: "deg", y: []float64{0, 8}}
		for i := range n {
			s.x = append(s.x, float64(8*i))
		}
		for range 2 * n {
			s.v = append(s.v, float64(rapid.IntRange(0, 20).Draw(t, "v")))
		}
		i := rapid.IntRange(0, n-2).Draw(t, "i")
		px, py := float64(8*i)+float64(rapid.IntRange(1, 7).Draw(t, "dx")), float64(rapid.IntRange(1, 7).Draw(t, "dy"))
		depth := float64(rapid.IntRange(1, 9).Draw(t, "depth"))
		value := weigh(s.x, s.y, s.v, px, py)
		// A ceiling of 1000 but for one point in the middle of its own small cross.
		ex, ey := []float64{px - 0.5, px, px + 0.5}, []float64{py - 0.5, py, py + 0.5}
		ev := []float64{1000, 1000, 1000, 1000, value - depth, 1000, 1000, 1000, 1000}
		out := judged(t, judging(one(s), one(s)), envelopeRule("max", ex, ey, ev))
		want := fmt.Sprintf("ign inherited 1x %.9g/%.9g by %.9g x=%g y=%g", value, value-depth, depth, px, py)
		if got := sayAll(out.Findings); got != want {
			t.Fatalf("got %s\nwant %s", got, want)
		}
	})
}

// Tables on one axis are judged as each by itself, whether their breakpoints are the same or not.
func TestTablesThatShareAnAxis(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		draw := func(id string) (base, cand sheet) {
			x := rapid.SampledFrom([][]float64{{0, 4, 8}, {0, 4, 8}, {0, 4, 4, 8}, {8, 4, 0}, {1, 4, 8}}).Draw(t, id+" x")
			base = sheet{id: id, unit: "deg", x: x, v: wholes(t, id+" base", len(x))}
			if cand = base; rapid.Bool().Draw(t, id+" moved") {
				cand.v = wholes(t, id+" cand", len(x))
			}
			return base, cand
		}
		r := rule(fmt.Sprintf(`{"envelope":{"side":"max","unit":"deg","x":{"quantity":"engine_speed","unit":"1/min","points":[0,2,6]},"values":[[%d,1,2]]}}`, rapid.IntRange(-3, 3).Draw(t, "limit")))
		var bases, cands []sheet
		var findings, margins []string
		for _, id := range []string{"a", "b", "c", "d"} {
			base, cand := draw(id)
			bases, cands = append(bases, base), append(cands, cand)
			alone := judged(t, judging(one(base), one(cand)), r)
			if len(alone.Findings) > 0 {
				findings = append(findings, sayAll(alone.Findings))
			}
			margins = append(margins, sayMargins(alone.Margins))
		}
		in := judging(bases, cands)
		for _, table := range in.Layout.Tables {
			table.X = in.Layout.Tables[0].X
		}
		out := judged(t, in, r)
		if got, want := sayAll(out.Findings), strings.Join(findings, "; "); got != want {
			t.Fatalf("together %s\nalone %s", got, want)
		}
		if got, want := sayMargins(out.Margins), strings.Join(margins, "; "); got != want {
			t.Fatalf("together %s\nalone %s", got, want)
		}
	})
}
