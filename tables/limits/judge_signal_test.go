package limits

import (
	"fmt"
	"strings"
	"testing"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
)

// plugRig computes the advance at the plug: a base map over speed and filling, a correction over intake air, and another
// base where a switch says so.
func plugRig() *rig {
	r := &rig{}
	r.table("base", "quantity: advance, unit: deg", []string{"engine_speed 1/min: 1000, 3000", "filling %: 50, 150"}, 20, 30, 10, 16)
	r.table("cold", "quantity: advance, unit: deg", []string{"air Cel: 20, 60"}, 0, -8)
	r.table("other", "quantity: advance, unit: deg", nil, 5)
	r.table("grade", "quantity: grade, unit: '1'", nil, 1)
	r.table("apart", "quantity: advance, unit: deg", nil, 5)
	r.signal("plug", "quantity: advance, unit: deg", "(table('grade') == 1.0 ? table('base') : table('other')) + table('cold')")
	r.input("engine_speed", "1/min", 600, 7200, "")
	r.input("filling", "%", 10, 200, "")
	r.input("air", "Cel", -20, 80, "")
	return r
}

func onPlug(kind, where string) *calibrationv1.Rule {
	if where != "" {
		kind += `,"where":{` + where + `}`
	}
	return rule(`{"select":{"signals":["plug"]},` + kind + `}`)
}

// By hand, all of it: the sum at a corner is the map's cell and the correction's, and outside their breakpoints both are held.
func TestSignalOfASum(t *testing.T) {
	const ceiling = `"envelope":{"side":"max","unit":"deg","x":{"quantity":"engine_speed","unit":"1/s","points":[10,100]},"y":{"quantity":"filling","unit":"1","points":[0.5,1.5]},"values":[[40,31],[40,31]]}`
	at := func(v ...float64) map[string][]float64 { return map[string][]float64{"base": v} }
	for _, c := range []struct {
		name string
		rule *calibrationv1.Rule
		cand map[string][]float64
		want string
	}{
		// 34 at 3000 and 50 %, with 0 of the correction up to 20 Cel: of the 27 cells the two that touch 3000, by the two that touch
		// 50 %, by the two that touch 20 Cel. It is held below 50 % and from 3000 on, so that the first corner of them is the worst.
		{"range", onPlug(`"range":{"unit":"deg","max":32}`, ""), at(20, 34, 10, 16), "plug introduced 8x 34/32 by 2 engine_speed=3000 filling=10 air=-20"},
		{"range, passes", onPlug(`"range":{"unit":"deg","max":34}`, ""), at(20, 34, 10, 16), ""},
		{"range, worsened", onPlug(`"range":{"unit":"deg","max":29}`, ""), at(20, 34, 10, 16), "plug worsened 8x 34/29 by 5 engine_speed=3000 filling=10 air=-20"},
		// A limit of 40 at 600 to 31 at 6000: 35.5 halfway at 3300, and 36 at 3000. With 36.6 it is beyond from 3000 on, in three of four cells.
		{"envelope", onPlug(ceiling, ""), at(20, 36.6, 10, 16), "plug introduced 12x 36.6/31 by 5.6 engine_speed=6000 filling=10 air=-20"},
		{"where an input is", onPlug(ceiling, `"engine_speed":{"to":50,"unit":"1/s"}`), at(20, 36.6, 10, 16), "plug introduced 4x 36.6/36 by 0.6 engine_speed=3000 filling=10 air=-20"},
		{"where air is warm", onPlug(ceiling, `"air":{"from":60,"unit":"Cel"}`), at(20, 36.6, 10, 16), ""},
		{"at one speed", onPlug(`"range":{"unit":"deg","max":26}`, `"engine_speed":{"from":2000,"to":2000,"unit":"1/min"},"air":{"from":60,"unit":"Cel"},"filling":{"to":60,"unit":"%"}`), at(20, 49, 10, 16), "plug introduced 2x 26.5/26 by 0.5 engine_speed=2000 filling=10 air=60"},
		{"beyond the inputs", onPlug(`"range":{"unit":"deg","max":0}`, `"engine_speed":{"from":9000,"unit":"1/min"}`), at(20, 36, 10, 16), "passed plug: no operating point lies where the rule holds"},
		// Up by 5 at 3000 and 50 %, and 2 are allowed: 32.
		{"change", onPlug(`"change":{"unit":"deg","max_up":2}`, ""), at(20, 35, 10, 16), "plug introduced 12x 35/32 by 3 engine_speed=3000 filling=10 air=-20"},
		{"change, down", onPlug(`"change":{"unit":"deg","max_up":99,"max_down":2}`, ""), at(20, 27, 10, 16), "plug introduced 12x 27/28 by 1 engine_speed=3000 filling=10 air=-20"},
		// 10 % of 30 are 3, of 22 2.2 where the correction is -8.
		{"change, per cent", onPlug(`"change":{"percent":true,"max_up":10}`, `"engine_speed":{"from":3000,"unit":"1/min"},"filling":{"to":50,"unit":"%"}`), at(20, 34, 10, 16), "plug introduced 3x 26/24.2 by 1.8 engine_speed=3000 filling=10 air=60"},
		{"nothing that it depends on", onPlug(`"range":{"unit":"deg","max":0}`, ""), map[string][]float64{"apart": {6}}, ""},
		// What is not looked up is a part of it all the same, and nothing moved.
		{"a branch not taken", onPlug(`"change":{"unit":"deg","max_up":0}`, ""), map[string][]float64{"other": {50}}, ""},
		{"a branch newly taken", onPlug(`"range":{"unit":"deg","max":32}`, ""), map[string][]float64{"other": {50}, "grade": {2}}, "plug introduced 27x 50/32 by 18 engine_speed=600 filling=10 air=-20"},
		{"no number", onPlug(`"range":{"unit":"deg","max":32}`, `"air":{"to":-10,"unit":"Cel"}`), map[string][]float64{"cold": {nan, 0}}, "plug introduced 9x NaN/32 by +Inf engine_speed=600 filling=10 air=-20"},
	} {
		out := checked(t, plugRig().judging(t, c.cand), c.rule)
		if got := sayPoints(out); got != c.want {
			t.Errorf("%s:\n got %s\nwant %s", c.name, got, c.want)
		}
	}
}

func TestSignalSaysWhatItLookedAt(t *testing.T) {
	max40 := onPlug(`"range":{"unit":"rad","max":0.6981317007977318}`, "") // 40 deg
	out := checked(t, plugRig().judging(t, map[string][]float64{"base": {20, 35, 10, 16}, "other": {9}}), max40)
	if got := sayPoints(out); got != "" {
		t.Errorf("found %s", got)
	}
	if m := out.Margins; len(m) != 1 || m[0].Signal != "plug" || m[0].Table != "" || m[0].Unit != "deg" || m[0].Inputs["engine_speed"] != 3000 || fmt.Sprintf("%.9f %.9f", m[0].Margin, m[0].Limit) != "5.000000000 40.000000000" {
		t.Errorf("margins %v", m)
	}
	if by := out.JudgedBy; len(by) != 1 || len(by["plug"]) != 1 {
		t.Errorf("judged by %v", by)
	}
	if got := fmt.Sprint(out.Through); got != "map[base:[r] cold:[r] grade:[r]]" {
		t.Errorf("looked at %s", got)
	}
	in := plugRig().judging(t, map[string][]float64{"cold": {1, 2}})
	in.Unknown = func(id string) string { return map[string]string{"cold": "both images lack 0x40"}[id] }
	if got := sayPoints(checked(t, in, max40)); got != "unjudged plug: table cold: both images lack 0x40" {
		t.Errorf("got %s", got)
	}
	in = plugRig().judging(t, nil)
	in.Check, in.Base = true, nil
	out = checked(t, in, onPlug(`"range":{"unit":"deg","max":28}`, ""), onPlug(`"change":{"unit":"deg","max_up":0}`, ""))
	if got := sayPoints(out); got != "plug  8x 30/28 by 2 engine_speed=3000 filling=10 air=-20" {
		t.Errorf("a check: %s", got)
	}
}

func TestSignalSinceAsFound(t *testing.T) {
	r := plugRig()
	up4 := onPlug(`"change":{"unit":"deg","max_up":4,"since":"as-found"}`, "")
	for _, c := range []struct {
		found float64 // in the base it is 30
		cand  float64
		want  string
	}{
		{27, 32, "plug introduced 12x 32/31 by 1 engine_speed=3000 filling=10 air=-20"},
		{25, 32, "plug worsened 12x 32/29 by 3 engine_speed=3000 filling=10 air=-20"},
		{20, 28, "plug inherited 12x 28/24 by 4 engine_speed=3000 filling=10 air=-20"},
		{29, 32, ""},
	} {
		in := r.judging(t, map[string][]float64{"base": {20, c.cand, 10, 16}})
		in.AsFound = reader(in.Layout, r.image(map[string][]float64{"base": {20, c.found, 10, 16}}))
		if got := sayPoints(checked(t, in, up4)); got != c.want {
			t.Errorf("found %v, candidate %v:\n got %s\nwant %s", c.found, c.cand, got, c.want)
		}
	}
	if got := sayPoints(checked(t, r.judging(t, map[string][]float64{"cold": {1, 1}}), up4)); got != "unjudged plug: the image as found was not given" {
		t.Errorf("got %s", got)
	}
}

// meterRig reads the air in the cylinder from a meter's voltage, and looks the advance up by it.
func meterRig() *rig {
	r := &rig{}
	r.table("meter", "quantity: air_flow, unit: kg/h", []string{"voltage V: 0, 5"}, 0, 500)
	r.table("base", "quantity: advance, unit: deg", []string{"filling %: 0, 100"}, 40, 20)
	r.signal("filling.model", "quantity: filling, unit: '%', feeds: true", "table('meter') * 1000.0 / input('engine_speed')")
	r.signal("plug", "quantity: advance, unit: deg, step: 0.1", "table('base')")
	r.input("engine_speed", "1/min", 1000, 5000, "")
	r.input("voltage", "V", 0, 5, ", fitted: meter_changed")
	return r
}

// The meter's table says less than it did: 400 for 500. At 1000 1/min and 0.8 V there was filling of 80 % and 24 deg; the table
// now says 64 %, so that the engine gets 27.2 deg, at the air of before. Where the table said 0 it still does, and past 100 %
// the advance is held.
func TestLimitsGoByTheAirOfTheBase(t *testing.T) {
	const ceiling = `"envelope":{"side":"max","unit":"deg","x":{"quantity":"filling","unit":"1","points":[0,1]},"values":[[42,22]]}`
	rescaled := map[string][]float64{"meter": {0, 400}}
	in := meterRig().judging(t, rescaled)
	out := checked(t, in, onPlug(ceiling, ""))
	if len(out.Findings) != 1 || len(out.Unjudged) != 0 {
		t.Fatalf("got %s", sayPoints(out))
	}
	// With f the base's filling, the engine gets 40 − 0.2·0.8f and may get 42 − 0.2f: at f = 100 it is 24 for 22, and past
	// it 22 are allowed and less is looked up, till 20 at 125.
	f := out.Findings[0]
	filling := f.Worst.Inputs["voltage"] * 100 * 1000 / f.Worst.Inputs["engine_speed"]
	if w := f.Worst; f.Origin != "introduced" || w.Excess > 2 || w.Excess < 1.95 || w.GetBound() < 2 || filling < 98 || filling > 102 {
		t.Errorf("got %v at a filling of %v", f, filling)
	}
	// The same air is the same air: by its own number the car would have nearly 2 deg more room than it has.
	if got := checked(t, in, onPlug(ceiling, `"filling":{"to":49,"unit":"%"}`)); sayPoints(got) != "" || len(got.Margins) != 1 || got.Margins[0].Margin > 0.1 {
		t.Errorf("where there is little air: %s, %v", sayPoints(got), got.Margins)
	}
	if got := checked(t, in, onPlug(ceiling, `"filling":{"from":90,"unit":"%"}`)); len(got.Findings) != 1 || got.Findings[0].Worst.Excess < 1.95 {
		t.Errorf("where there is air: %s", sayPoints(got))
	}
	if got := sayPoints(checked(t, in, onPlug(ceiling, `"filling":{"from":9000,"unit":"%"}`))); got != "passed plug: no operating point lies where the rule holds" {
		t.Errorf("where there is never so much: %s", got)
	}
	if got := sayPoints(checked(t, in, onPlug(`"change":{"unit":"deg","max_up":0}`, `"filling":{"from":9000,"unit":"%"}`))); got != "passed plug: no operating point lies where the rule holds" {
		t.Errorf("a change where there is never so much: %s", got)
	}
	change := onPlug(`"change":{"unit":"deg","max_up":3.9}`, "")
	if got := checked(t, in, change); len(got.Findings) != 1 || !strings.HasPrefix(sayPoint(got.Findings[0]), "plug introduced") {
		t.Errorf("change at the same air: %s", sayPoints(got))
	}

	// Another meter: the same voltage is not the same air. The limit goes by both, and the lesser counts.
	in = meterRig().judging(t, map[string][]float64{"meter": {0, 1000}})
	without := sayPoints(checked(t, in, onPlug(ceiling, "")))
	in.Job = &calibrationv1.JobFacts{Numbers: map[string]float64{"meter_changed": 1}}
	with := checked(t, in, onPlug(ceiling, ""), change)
	if got := sayPoints(with); without != "" || got != "unjudged plug: another sensor of voltage is fitted: the same reading is not the same advance" {
		t.Errorf("without the job's word %s\nwith it %s", without, got)
	}
	in = meterRig().judging(t, map[string][]float64{"meter": {0, 1000}, "base": {41, 21}})
	if got := sayPoints(checked(t, in, onPlug(ceiling, ""))); got != "" {
		t.Errorf("at the air of before it leaves 1 deg and more: %s", got)
	}
	in = meterRig().judging(t, map[string][]float64{"meter": {0, 1000}, "base": {43, 23}})
	in.Job = &calibrationv1.JobFacts{Numbers: map[string]float64{"meter_changed": 1}}
	if got := checked(t, in, onPlug(ceiling, `"filling":{"from":200,"unit":"%"}`)); len(got.Findings) != 1 || got.Findings[0].Worst.Excess < 0.95 {
		t.Errorf("at the air of the new meter it is 1 deg too much: %s", sayPoints(got))
	}
}

// What gives the air that a limit goes by must be known too, though the signal itself does not depend on it.
func TestUnknownAir(t *testing.T) {
	r := meterRig()
	r.table("torque", "quantity: torque, unit: N.m", []string{"engine_speed 1/min: 1000, 5000"}, 100, 200)
	r.signal("made", "quantity: torque, unit: N.m", "table('torque')")
	in := r.judging(t, map[string][]float64{"torque": {100, 300}})
	in.Unknown = func(id string) string { return map[string]string{"meter": "both images lack 0x0"}[id] }
	made := rule(`{"select":{"signals":["made"]},"range":{"unit":"N.m","max":250},"where":{"filling":{"from":50,"unit":"%"}}}`)
	if got := sayPoints(checked(t, in, made)); got != "unjudged made: table meter: both images lack 0x0" {
		t.Errorf("got %s", got)
	}
	in.Unknown = nil
	if out := checked(t, in, made); len(out.Findings) != 1 || out.Findings[0].Signal != "made" || out.Findings[0].Worst.Excess < 49 {
		t.Errorf("got %s", sayPoints(out))
	}
}

// What the budget does not reach is said to be undecided, never clear.
func TestUndecided(t *testing.T) {
	in := meterRig().judging(t, map[string][]float64{"meter": {0, 499}})
	in.budget = 1
	out := checked(t, in, onPlug(`"envelope":{"side":"max","unit":"deg","x":{"quantity":"filling","unit":"1","points":[0,1]},"values":[[40.05,20.05]]}`, ""))
	if len(out.Findings) != 1 || out.Findings[0].Rule != "undecided" || out.Findings[0].Severity != "caution" || out.Findings[0].Signal != "plug" || out.Findings[0].Count == 0 || out.Findings[0].Worst.Bound == nil || out.Findings[0].Reason == "" {
		t.Fatalf("got %v", out.Findings)
	}
}

// A division curves, and nothing says in which steps it goes. From 1 V on nothing moved: what lies beyond there did before. At
// 1 V it did too, and beside it, towards 0 V, the engine gets more than it did.
func TestOriginsWhereASignalCurves(t *testing.T) {
	r := &rig{}
	r.table("meter", "quantity: air_flow, unit: kg/h", []string{"voltage V: 0, 1, 2"}, 0, 100, 200)
	r.signal("plug", "quantity: filling, unit: '%'", "table('meter') * 1000.0 / input('engine_speed')")
	r.input("engine_speed", "1/min", 1000, 5000, "")
	r.input("voltage", "V", 0, 2, "")
	max50 := onPlug(`"range":{"unit":"%","max":50}`, "")
	out := checked(t, r.judging(t, map[string][]float64{"meter": {10, 100, 200}}), max50)
	if got, want := sayPoints(out), "introduced 1x"; len(out.Findings) != 3 || !strings.Contains(got, want) {
		t.Fatalf("got %s", got)
	}
	for i, want := range []string{"introduced", "worsened", "inherited"} {
		f := out.Findings[i]
		worst := []float64{5, 50, 150}[i] // newly 55 for 50 where it was 50; 100 at 1 V, of which both cells have a side; 200 at 2 V
		if f.Origin != want || f.Count != []uint32{1, 2, 1}[i] || f.Worst.Excess > worst+1e-3 || f.Worst.Excess < worst-1.5 {
			t.Errorf("got %s, want %s by about %v", sayPoint(f), want, worst)
		}
	}
	out = checked(t, r.judging(t, map[string][]float64{"meter": {0, 90, 200}}), max50)
	if len(out.Findings) != 1 || out.Findings[0].Origin != "inherited" {
		t.Errorf("less everywhere: %s", sayPoints(out))
	}
}

// Another software: what its definition computes under that name is the base, in its own unit; without one, all is new.
func TestSignalOfAnotherSoftware(t *testing.T) {
	rigOf := func(id, unit string, cell float64) *rig {
		r := &rig{}
		r.table("base", "quantity: advance, unit: "+unit, nil, cell)
		r.signal(id, "quantity: advance, unit: "+unit, "table('base') * 1.0")
		r.input("engine_speed", "1/min", 1000, 5000, "")
		return r
	}
	max20 := onPlug(`"range":{"unit":"deg","max":20}`, "")
	for _, c := range []struct {
		base *rig
		want string
	}{
		{rigOf("plug", "rad", 0.3839724354387525), "plug worsened 1x 23/20 by 3"}, // 22 deg
		{rigOf("plug", "rad", 0.4014257279586958), "plug inherited 1x 23/20 by 3"},
		{rigOf("other", "rad", 1), "plug introduced 1x 23/20 by 3"},
	} {
		cand := rigOf("plug", "deg", 23)
		lay, was := cand.layout(t), c.base.layout(t)
		in := JudgeInput{Layout: was, CandidateLayout: lay, Changed: []string{"base"}, Base: reader(was, c.base.image(nil)), Candidate: reader(lay, cand.image(nil))}
		out := judged(t, in, max20)
		if got := sayPoints(out); got != c.want {
			t.Errorf("got %s, want %s", got, c.want)
		}
		if strings.Contains(c.want, "introduced") && !strings.Contains(out.Findings[0].Detail, "the base could not be judged: its definition has no signal plug") {
			t.Errorf("it does not say why: %v", out.Findings)
		}
	}
}
