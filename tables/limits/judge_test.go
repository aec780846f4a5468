package limits

import (
	"math"
	"testing"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/definition"
)

var nan, inf = math.NaN(), math.Inf(1)

// ign is a curve over engine speed with these cells, at 1000, 2000, 3000, …
func ign(v ...float64) sheet {
	s := sheet{id: "ign", quantity: "ignition_advance", unit: "deg", v: v}
	for i := range v {
		s.x = append(s.x, float64(1000*(i+1)))
	}
	return s
}

// on moves a sheet to other breakpoints.
func (s sheet) on(x ...float64) sheet { s.x = x; return s }

// grid makes a map of it: y are the rows' breakpoints.
func (s sheet) grid(x, y []float64) sheet { s.x, s.y = x, y; return s }

func (s sheet) named(id string) sheet { s.id = id; return s }

type judgeCase struct {
	name       string
	rule       string
	base, cand []sheet // no base: a check
	want       string
	margins    string // "-" for do not look
	unjudged   string
}

func (c judgeCase) run(t *testing.T) {
	t.Helper()
	out := judged(t, judging(c.base, c.cand), rule(c.rule))
	if got := sayAll(out.Findings); got != c.want {
		t.Errorf("findings\n got %s\nwant %s", got, c.want)
	}
	if got := sayMargins(out.Margins); c.margins != "-" && got != c.margins {
		t.Errorf("margins\n got %s\nwant %s", got, c.margins)
	}
	got := ""
	for _, u := range out.Unjudged {
		got += u.Table + ": " + u.Reason
	}
	if got != c.unjudged {
		t.Errorf("unjudged\n got %s\nwant %s", got, c.unjudged)
	}
}

func one(s sheet) []sheet { return []sheet{s} }

// All numbers are worked out by hand in the comments.
func TestRules(t *testing.T) {
	const max20 = `{"range":{"unit":"deg","max":20}}`
	const both = `{"range":{"unit":"deg","min":10,"max":20}}`
	for _, c := range []judgeCase{
		// 21 and 23 lie 1 and 3 above 20; the base's 18 and 19 did not.
		{"range, two introduced", max20, one(ign(18, 19, 20)), one(ign(21, 23, 20)), "ign introduced 2x 23/20 by 3 x=2000 [0,1]", "ign -3 (23/20) x=2000", ""},
		// A value equal to its ceiling is inside, and so is one that rounding puts there: 20*(1+0.5e-9).
		{"range, at the ceiling", max20, one(ign(0, 0)), one(ign(20, 20*(1+0.5e-9))), "", "-", ""},
		{"range, beyond rounding", max20, one(ign(0)), one(ign(20 * (1 + 4e-9))), "ign introduced 1x 20.0000001/20 by 7.99999995e-08 x=1000 [0,0]", "-", ""},
		// Base: 22, 25, 21. Candidate: 23 (worse by 1), 24 (better), 21 (the same).
		{"range, origins", max20, one(ign(22, 25, 21)), one(ign(23, 24, 21)), "ign worsened 1x 23/20 by 3 x=1000 [0,0]; ign inherited 2x 24/20 by 4 x=2000 [0,1]", "ign -4 (24/20) x=2000", ""},
		// 8 was 2 below the floor; 21 is 1 above the ceiling, which is another fault.
		{"range, from one bound to the other", both, one(ign(8)), one(ign(21)), "ign introduced 1x 21/20 by 1 x=1000 [0,0]", "ign -1 (21/20) x=1000", ""},
		// Of equal excesses the first: 12 leaves 2, 18 leaves 2 as well.
		{"range, margin inside", both, one(ign(12, 18)), one(ign(12, 18)), "", "ign 2 (12/10) x=1000", ""},
		{"range, NaN counts once", both, one(ign(12, 12)), one(ign(12, nan)), "ign introduced 1x NaN/20 by +Inf x=2000 [0,1]", "ign -Inf (NaN/20) x=2000", ""},
		{"range, minus infinity", max20, one(ign(12)), one(ign(-inf)), "ign introduced 1x -Inf/20 by +Inf x=1000 [0,0]", "ign -Inf (-Inf/20) x=1000", ""},
		{"range, NaN inherited", max20, one(ign(nan)), one(ign(nan)), "ign inherited 1x NaN/20 by +Inf x=1000 [0,0]", "-", ""},
		{"range, check", max20, nil, one(ign(21, 22)), "ign  2x 22/20 by 2 x=2000 [0,1]", "ign -2 (22/20) x=2000", ""},
		// New breakpoint 1500: the base's surface there is (18+24)/2 = 21, 1 above; the candidate's 23 is 3 above.
		{"range, base surface", max20, one(ign(18, 24).on(1000, 2000)), one(ign(18, 23, 19).on(1000, 1500, 2000)), "ign worsened 1x 23/20 by 3 x=1500 [0,1]", "ign -3 (23/20) x=1500", ""},
		// Axis stored falling: index 0 is 3000.
		{"range, falling axis", max20, one(ign(0, 0, 0).on(3000, 2000, 1000)), one(ign(0, 21, 0).on(3000, 2000, 1000)), "ign introduced 1x 21/20 by 1 x=2000 [0,1]", "-", ""},
		// The base stepped at 2000 from 25 to 10; the candidate's cells are the two sides of a step there: 5 and 3 too
		// high below it (as before: better), and 1 too high at it, where the base was not.
		{"range, both sides of the base's step", max20, one(ign(0, 25, 10, 0).on(1000, 2000, 2000, 3000)), one(ign(0, 23, 21, 0).on(1500, 2000, 2000, 3000)),
			"ign introduced 1x 21/20 by 1 x=2000 [0,2]; ign inherited 1x 23/20 by 3 x=2000 [0,1]", "-", ""},
		// By index where neither rises nor falls: the base's cell of index 1 was 25.
		{"range, broken axis", max20, one(ign(0, 25, 0).on(1, 2, 3)), one(ign(0, 24, 0).on(1, 3, 2)), "ign inherited 1x 24/20 by 4 x=3 [0,1]", "-", ""},
		// 2.3 bar are 230 kPa; the table is in kPa.
		{"range, units", `{"range":{"unit":"bar","max":2.3}}`, one(sheet{id: "boost", quantity: "manifold_pressure", unit: "kPa", v: []float64{200}}), one(sheet{id: "boost", quantity: "manifold_pressure", unit: "kPa", v: []float64{235}}),
			"boost introduced 1x 235/230 by 5 [0,0]", "boost -5 (235/230)", ""},
		{"labels", max20, one(sheet{id: "sw", unit: "deg", v: []float64{1}, labels: map[int64]string{1: "on"}}), one(sheet{id: "sw", unit: "deg", v: []float64{0}, labels: map[int64]string{1: "on"}}), "", "",
			"sw: the table holds labels, which only frozen and expression judge"},

		// Up 5 where 4 is allowed: 15 against 10+4. Down 13 where 12 is: 7 against 20-12.
		{"change", `{"change":{"unit":"deg","max_up":4,"max_down":12}}`, one(ign(10, 20, 30)), one(ign(15, 7, 34)), "ign introduced 2x 15/14 by 1 x=1000 [0,0]", "", ""},
		// 10 % of 30 is 3; of 0.5 it is 10 % of the factor, 1: 0.1.
		{"change, per cent", `{"change":{"percent":true,"max_up":10}}`, one(ign(30, 0.5, 0)), one(ign(34, 0.75, 0.05)), "ign introduced 2x 34/33 by 1 x=1000 [0,0]", "", ""},
		// Moved breakpoint 2000 -> 1500. Joined 1000, 1500, 2000, 3000. Base there 10, 15, 20, 30; candidate 10, 20, 70/3, 30:
		// up by 0, 5, 10/3, 0.
		{"change, surface", `{"change":{"unit":"deg","max_up":4}}`, one(ign(10, 20, 30)), one(ign(10, 20, 30).on(1000, 1500, 3000)), "ign introduced 1x 20/19 by 1 x=1500 [0,1]", "", ""},
		{"change, not in a check", `{"change":{"unit":"deg","max_up":4}}`, nil, one(ign(99)), "", "", ""},
		{"change, NaN stays", `{"change":{"unit":"deg","max_up":4}}`, one(ign(nan, 1)), one(ign(nan, 2)), "", "", ""},
		{"change, to NaN", `{"change":{"unit":"deg","max_up":4,"max_down":1}}`, one(ign(1)), one(ign(nan)), "ign introduced 1x NaN/5 by +Inf x=1000 [0,0]", "", ""},
		{"change, broken axis", `{"change":{"unit":"deg","max_up":4}}`, one(ign(1, 2, 3)), one(ign(1, 2, 3).on(1, 3, 2)), "", "", "ign: the breakpoints along x neither rise nor fall"},
		// A difference of 4 K is one of 4 Cel: no offset.
		{"change, differences have no offset", `{"change":{"unit":"K","max_up":4}}`, one(sheet{id: "t", quantity: "temperature", unit: "Cel", v: []float64{90}}), one(sheet{id: "t", quantity: "temperature", unit: "Cel", v: []float64{95}}),
			"t introduced 1x 95/94 by 1 [0,0]", "", ""},

		{"frozen", `{"frozen":{}}`, one(ign(1, 2, 3)), one(ign(1, 4, 9)), "ign introduced 2x 9/3 by 6 x=3000 [0,2]", "", ""},
		{"frozen, axis alone", `{"frozen":{}}`, one(ign(1, 2)), one(ign(1, 2).on(1000, 2500)), "ign introduced 1x 2500/2000 by 500 x=2500 [0,1]", "", ""},
		// The cell is the worst, the breakpoint counts.
		{"frozen, axis and cell", `{"frozen":{}}`, one(ign(1, 2)), one(ign(1, 3).on(1000, 2500)), "ign introduced 2x 3/2 by 1 x=2500 [0,1]", "", ""},
		{"frozen, y axis", `{"frozen":{}}`, one(block(1)), one(block(1).grid([]float64{1, 2, 3}, []float64{1, 2, 5})), "ign introduced 1x 5/3 by 2 x=1 y=5 [2,0]", "", ""},
		{"frozen, other shape", `{"frozen":{}}`, one(ign(1, 2)), one(ign(1, 2, 3)), "ign introduced 1x by 0 x=0", "", ""},
		{"frozen, bits", `{"frozen":{}}`, one(ign(0)), one(ign(math.Copysign(0, -1))), "ign introduced 1x 0/0 by 0 x=1000 [0,0]", "", ""},
		{"frozen, labels", `{"frozen":{}}`, one(sheet{id: "sw", v: []float64{1}, labels: map[int64]string{1: "on"}}), one(sheet{id: "sw", v: []float64{0}, labels: map[int64]string{1: "on"}}), "sw introduced 1x by 0 [0,0]", "", ""},

		// 16 deg over 1024 1/min are 1/64 a 1/min, where 1/128 is allowed; the base's 7 over 1000 were less.
		{"slope", `{"slope":{"unit":"deg","along":"x","max":0.0078125}}`, one(ign(0, 7, 7)), one(ign(0, 16, 16).on(1024, 2048, 3072)), "ign introduced 1x 0.015625/0.0078125 by 0.0078125 x=1024 [0,0]", "", ""},
		// A step of 5 on one breakpoint is infinitely steep; one of 0 is no step.
		{"slope, step", `{"slope":{"unit":"deg","along":"x","max":1}}`, one(ign(0, 0, 0, 5).on(1, 2, 3, 9)), one(ign(0, 0, 5, 5).on(1, 2, 2, 2)), "ign introduced 1x +Inf/1 by +Inf x=2 [0,1]", "", ""},
		// The base's cells of the same index rose by 5 over 1 as well: 4 too steep, and it is 3 now.
		{"slope, inherited", `{"slope":{"unit":"deg","along":"x","max":1}}`, one(ign(0, 5).on(1, 2)), one(ign(0, 4).on(1, 2)), "ign inherited 1x 4/1 by 3 x=1 [0,0]", "", ""},
		// Per 1/s: 1 deg a 1/s is 1/60 deg a 1/min; 0.5 deg a 1/min is beyond it.
		{"slope, axis unit", `{"slope":{"unit":"deg","along":"x","max":30,"axis_unit":"1/s"}}`, one(ign(0, 0).on(1, 2)), one(ign(0, 1).on(1, 2)), "ign introduced 1x 1/0.5 by 0.5 x=1 [0,0]", "", ""},
		{"slope, falling", `{"slope":{"unit":"deg","along":"x","max":1}}`, one(ign(0, 0).on(2, 1)), one(ign(0, 3).on(2, 1)), "ign introduced 1x 3/1 by 2 x=2 [0,0]", "", ""},
		{"slope, index", `{"slope":{"unit":"deg","along":"x","max":1}}`, one(gears(0, 0)), one(gears(0, 3)), "", "", "ign: its x axis is an index axis, along which nothing is measured"},
		{"slope, no such axis", `{"slope":{"unit":"deg","along":"y","max":1}}`, one(ign(0, 0)), one(ign(0, 3)), "", "", "ign: the table has no y axis"},

		// Line from 0 at 1000 to 4 at 3000 is 2 at 2000; 9 lies 7 off it, 6 are allowed.
		{"lump", `{"lump":{"unit":"deg","max":6}}`, one(ign(0, 2, 4)), one(ign(0, 9, 4)), "ign introduced 1x 7/6 by 1 x=2000 [0,1]", "", ""},
		// At its own breakpoint: from 0 at 1000 to 8 at 5000 the line is 2 at 2000.
		{"lump, unequal", `{"lump":{"unit":"deg","max":6}}`, one(ign(0, 2, 8).on(1000, 2000, 5000)), one(ign(0, 10, 8).on(1000, 2000, 5000)), "ign introduced 1x 8/6 by 2 x=2000 [0,1]", "", ""},
		// Middle cell 9 in a field of 0: 9 off along x and along y, which is one cell.
		{"lump, both axes", `{"lump":{"unit":"deg","max":6}}`, one(block(0)), one(block(9)), "ign introduced 1x 9/6 by 3 x=2 y=2 [1,1]", "", ""},
		// Along y only: row 1 is 0 9 0, so 9 off; the base was 7 off, 1 too much; now 3.
		{"lump, along y", `{"lump":{"unit":"deg","max":6,"along":"y"}}`, one(block(7)), one(block(9)), "ign worsened 1x 9/6 by 3 x=2 y=2 [1,1]", "", ""},

		{"axes", `{"monotonic":{"of":"axes"}}`, one(ign(0, 0, 0)), one(ign(0, 0, 0).on(1000, 900, 3000)), "ign introduced 1x 900/1000 by 100 x=900 [0,1]", "", ""},
		{"axes, equal", `{"monotonic":{"of":"axes"}}`, one(ign(0, 0, 0)), one(ign(0, 0, 0).on(1000, 1000, 3000)), "ign introduced 1x 1000/1000 by 0 x=1000 [0,1]", "", ""},
		{"axes, inherited", `{"monotonic":{"of":"axes"}}`, one(ign(0, 0, 0).on(1, 1, 2)), one(ign(0, 0, 1).on(1, 1, 2)), "ign inherited 1x 1/1 by 0 x=1 [0,1]", "", ""},
		{"axes, falling is in order", `{"monotonic":{"of":"axes"}}`, one(ign(0, 0, 0)), one(ign(0, 0, 0).on(3, 2, 1)), "", "", ""},
		{"axes, none", `{"monotonic":{"of":"axes"}}`, one(sheet{id: "s", v: []float64{1}}), one(sheet{id: "s", v: []float64{2}}), "", "", ""},
		// 3 after 5 is 2 too low; equal neighbours pass.
		{"rising", `{"monotonic":{"of":"values","along":"x","direction":"rising"}}`, one(ign(1, 2, 3, 4)), one(ign(5, 5, 3, 4)), "ign introduced 1x 3/5 by 2 x=3000 [0,2]", "", ""},
		{"falling", `{"monotonic":{"of":"values","along":"x","falling":true}}`, one(ign(4, 3, 2)), one(ign(4, 3, 5)), "ign introduced 1x 5/3 by 2 x=3000 [0,2]", "", ""},
		// Stored 3, 2, 1: read upwards the cells are 4, 3, 5, so 3 comes 1 too low after 4.
		{"rising, falling axis", `{"monotonic":{"of":"values","along":"x","rising":true}}`, one(ign(5, 4, 3).on(3, 2, 1)), one(ign(5, 3, 4).on(3, 2, 1)), "ign introduced 1x 3/4 by 1 x=2 [0,1]", "", ""},
		{"rising, by gear", `{"monotonic":{"of":"values","along":"x","rising":true}}`, one(gears(1, 2, 3)), one(gears(1, 3, 2)), "ign introduced 1x 2/3 by 1 x=3 [0,2]", "", ""},
	} {
		t.Run(c.name, c.run)
	}
}

// gears is a curve over an index axis.
func gears(v ...float64) sheet {
	s := ign(v...)
	s.index, s.xq = true, "gear 1"
	for i := range s.x {
		s.x[i] = float64(i + 1)
	}
	return s
}

// block is a 3 by 3 map of zeros but for its middle.
func block(middle float64) sheet {
	return sheet{id: "ign", unit: "deg", x: []float64{1, 2, 3}, y: []float64{1, 2, 3}, v: []float64{0, 0, 0, 0, middle, 0, 0, 0, 0}}
}

func TestFrozenSaysLabels(t *testing.T) {
	labels := map[int64]string{0: "off", 1: "on"}
	out := judged(t, judging(one(sheet{id: "sw", v: []float64{1}, labels: labels}), one(sheet{id: "sw", v: []float64{2}, labels: labels})), rule(`{"frozen":{}}`))
	if len(out.Findings) != 1 || out.Findings[0].Detail != "raw 2, was on" {
		t.Errorf("got %v", out.Findings)
	}
}

// f32 carries 2^-23 of rounding: 1.3 stored so is 1.2999999523.
func TestRoundingOfF32(t *testing.T) {
	s := func(v float64) []sheet { return one(sheet{id: "t", unit: "1", f32: true, v: []float64{v}}) }
	for v, fails := range map[float64]bool{1.3: false, 1.2999999: false, 1.2999990: true} {
		out := judged(t, judging(s(2), s(v)), rule(`{"range":{"unit":"1","min":1.3}}`))
		if got := len(out.Findings) == 1; got != fails {
			t.Errorf("%v under a floor of 1.3: fails %v, want %v", v, got, fails)
		}
	}
}

func TestSelectionAndJudgedBy(t *testing.T) {
	a, b, c := ign(30).named("a"), ign(30).named("b"), ign(30).named("c")
	b.quantity = "torque"
	in := judging([]sheet{a, b, c}, []sheet{a, b, c})
	in.Changed = []string{"a", "b"}
	out := judged(t, in,
		rule(`{"id":"one","select":{"quantity":"ignition_advance"},"range":{"max":20}}`),
		rule(`{"id":"two","select":{},"frozen":{}}`),
		rule(`{"id":"three","select":{"tables":["c"]},"range":{"max":20}}`),
		rule(`{"id":"four","covers":{}}`))
	if got := sayAll(out.Findings); got != "a inherited 1x 30/20 by 10 x=1000 [0,0]" {
		t.Errorf("only the changed table that is selected: %s", got)
	}
	if got := out.JudgedBy; len(got) != 2 || len(got["a"]) != 2 || got["a"][0] != "one" || got["a"][1] != "two" || len(got["b"]) != 1 {
		t.Errorf("judged by %v", got)
	}
}

// Two definitions: the base is in bar, and judged in the candidate's unit.
func TestBaseInAnotherUnit(t *testing.T) {
	cand := sheet{id: "boost", quantity: "manifold_pressure", unit: "kPa", x: []float64{1000, 2000}, v: []float64{150, 240}}
	base := cand
	base.unit, base.v = "bar", []float64{1.5, 2.35}
	in := judging(one(base), one(cand))
	in.CandidateLayout = in.Layout
	in.Layout = &definition.Layout{}
	// 2.35 bar were 5 kPa beyond 230; 240 are 10. Up by 5, where 4 are allowed: 239.
	out := judged(t, in, rule(`{"id":"r","range":{"unit":"kPa","max":230}}`), rule(`{"id":"c","change":{"unit":"bar","max_up":0.04}}`))
	if got := sayAll(out.Findings); got != "boost worsened 1x 240/230 by 10 x=2000 [0,1]; boost introduced 1x 240/239 by 1 x=2000 [0,1]" {
		t.Errorf("got %s", got)
	}
}

func TestUnitsThatDoNotConvert(t *testing.T) {
	out := judged(t, judging(one(ign(1)), one(ign(2))), rule(`{"range":{"unit":"kPa","max":1}}`))
	if len(out.Findings) != 1 || out.Findings[0].Rule != "rule-error" || out.Findings[0].Severity != "danger" || out.Findings[0].Table != "ign" {
		t.Errorf("got %v", out.Findings)
	}
}

func TestJudgeNeedsItsInput(t *testing.T) {
	if _, err := Judge(&Limits{Source: &calibrationv1.Limits{}}, JudgeInput{}); err == nil {
		t.Error("no definition, and no error")
	}
}

// An infinity fails every numeric rule, on whichever side of its limit it lies, after any number that passed.
func TestAnInfinityNeverPasses(t *testing.T) {
	s := func(v ...float64) []sheet {
		return one(sheet{id: "m", unit: "deg", x: []float64{1000, 2000, 3000, 4000}, v: v})
	}
	low, high := math.Inf(-1), math.Inf(1)
	for text, cells := range map[string][]float64{
		`{"range":{"max":9}}`: {1, 2, low, 3},
		`{"range":{"min":0}}`: {1, 2, high, 3},
		`{"monotonic":{"of":"values","along":"x","direction":"rising"}}`:  {low, 1, 2, 3},
		`{"monotonic":{"of":"values","along":"x","direction":"falling"}}`: {high, 3, 2, 1},
		`{"slope":{"along":"x","max":9}}`:                                 {1, 2, 3, low},
		`{"lump":{"max":9}}`:                                              {1, 2, 3, high},
		`{"change":{"max_up":9}}`:                                         {1, 2, low, 3},
		`{"envelope":{"side":"max","unit":"deg","x":{"quantity":"engine_speed","unit":"1/min","points":[1000]},"values":[[9]]}}`: {1, low, 2, 3},
	} {
		if out := judged(t, judging(s(0, 0, 0, 0), s(cells...)), rule(text)); len(out.Findings) != 1 || !math.IsInf(out.Findings[0].Worst.GetExcess(), 1) {
			t.Errorf("%s of %v: %v", text, cells, sayAll(out.Findings))
		}
	}
}
