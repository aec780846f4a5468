package compare

import (
	"maps"
	"math"
	"slices"
	"strings"
	"testing"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/image"
)

// totals is a controller that adds two tables and divides by a third: 64 bytes.
const totals = `
name: totals-1
title: Signals
byte_order: big
image: {start: 0, size: 0x40}
tables:
  - {id: base, quantity: ignition_advance, unit: deg, stored: {address: 0, type: s8}, x: {id: rpm, quantity: engine_speed, unit: 1/min, points: [1000, 3000, 5000]}}
  - {id: intake, quantity: ignition_advance, unit: deg, stored: {address: 8, type: s8}, x: {id: iat, quantity: intake_temperature, unit: Cel, stored: {address: 0x10, type: u8, count: 2}}}
  - {id: apart, quantity: duty, unit: "%", stored: {address: 0x18, type: u8}}
  - {id: scale, quantity: factor, unit: "1", stored: {address: 0x20, type: u8}, conversion: {factor: 0.1}}
signals:
  - {id: plug, title: Advance at the plug, quantity: ignition_advance, unit: deg, value: "table('base') + table('intake')"}
  - {id: torque, title: Torque, quantity: torque, unit: N.m, step: 0.01, value: "signal('plug') / table('scale')"}
  - {id: loose, title: Nothing changed, quantity: duty, unit: "%", value: "table('apart') * 2.0"}
inputs:
  - {quantity: engine_speed, unit: 1/min, from: 600, to: 6000}
  - {quantity: intake_temperature, unit: Cel, from: -20, to: 80}
`

func totalsImage() []byte {
	b := make([]byte, 0x40)
	copy(b, []byte{10, 20, 30})
	copy(b[8:], []byte{4, 0xFC}) // 4 and -4 deg at 20 and 60 Cel
	copy(b[0x10:], []byte{20, 60})
	b[0x20] = 10
	return b
}

// Worked by hand. base rises by 6 at 3000, intake falls by 2 at 60 Cel and beyond: plug moves by -2 where base did not
// move (at 600, at 5000, at 6000 1/min) and it is 60 Cel or warmer, by +6 at 3000 at 20 Cel or colder.
func TestSignals(t *testing.T) {
	base := totalsImage()
	cand := edited(base, func(b []byte) { b[1], b[9] = 26, 0xFA })
	r := pair(t, layoutOf(t, totals), base, cand)
	if len(r.Signals) != 2 || r.Signals[0].Id != "plug" || r.Signals[1].Id != "torque" {
		t.Fatalf("signals: %v", r.Signals)
	}
	plug, torque := r.Signals[0], r.Signals[1]
	if plug.Unit != "deg" || !slices.Equal(plug.DependsOn, []string{"base", "intake"}) || !slices.Equal(torque.DependsOn, []string{"base", "intake", "scale", "plug"}) {
		t.Errorf("depends on: %v, %v", plug, torque)
	}
	for _, s := range r.Signals { // scale is 1
		d := s.Delta
		if math.Abs(d.Min+2) > 1e-9 || math.Abs(d.Max-6) > 1e-9 || len(d.AtMin) != 2 || len(d.AtMax) != 2 || s.Proven {
			t.Errorf("%s: %v", s.Id, s)
			continue
		}
		if n, iat := d.AtMin["engine_speed"], d.AtMin["intake_temperature"]; n > 1000 && n < 5000 || iat < 60 {
			t.Errorf("%s is least at %v", s.Id, d.AtMin)
		}
		if n, iat := d.AtMax["engine_speed"], d.AtMax["intake_temperature"]; n != 3000 || iat > 20 {
			t.Errorf("%s is greatest at %v", s.Id, d.AtMax)
		}
	}
	if r := pair(t, layoutOf(t, totals), base, edited(base, func(b []byte) { b[0x3F] = 1 })); len(r.Signals) != 0 {
		t.Errorf("nothing that a signal depends on: %v", r.Signals)
	}
}

// A scale of 2 in place of 1 halves what was 14 at most: from -7 to 3 N.m, and 16 to 8 where it was greatest.
func TestSignalsBetweenBreakpointsAndAnAxis(t *testing.T) {
	base := totalsImage()
	r := pair(t, layoutOf(t, totals), base, edited(base, func(b []byte) { b[0x20] = 20 }))
	// plug is from 10-4 to 30+4: a half of it less is from -17 to -3.
	if d := r.Signals[0].Delta; len(r.Signals) != 1 || r.Signals[0].Id != "torque" || math.Abs(d.Min+17) > 0.01 || math.Abs(d.Max+3) > 0.01 {
		t.Errorf("torque: %v", r.Signals)
	}
	// intake's axis moves from 20, 60 to 20, 40 Cel: at 40 it was 0 and is -4, and nowhere is it more.
	r = pair(t, layoutOf(t, totals), base, edited(base, func(b []byte) { b[0x11] = 40 }))
	if d := r.Signals[0].Delta; math.Abs(d.Min+4) > 1e-9 || d.Max != 0 || d.AtMin["intake_temperature"] != 40 {
		t.Errorf("plug: %v", d)
	}
}

func TestSignalsThatCannotBeHeldAgainstEachOther(t *testing.T) {
	lay, base := layoutOf(t, totals), totalsImage()
	// A hole in one of its tables, while another changed.
	cand := edited(base, func(b []byte) { b[0]++ })
	r := compared(t, Input{Base: holed(lay, base, 9, 10), Candidate: holed(lay, cand, 9, 10), Layout: lay})
	if len(r.Signals) != 2 || r.Signals[0].Delta != nil || !slices.ContainsFunc(r.Unjudged, func(u *calibrationv1.Unjudged) bool {
		return u.Signal == "plug" && u.Table == "" && u.Reason == "table intake: 0x9 to 0xa of it are unknown"
	}) {
		t.Errorf("a hole: %v, %v", r.Signals, r.Unjudged)
	}
	// Breakpoints that neither rise nor fall, on one side.
	float := layoutOf(t, strings.Replace(totals, "type: u8, count: 2", "type: u8, count: 3", 1))
	fill := func(b []byte, axis ...byte) []byte { copy(b[0x10:], axis); return b }
	r = pair(t, float, fill(totalsImage(), 20, 60, 80), fill(totalsImage(), 20, 60, 30))
	if len(r.Signals) != 2 || r.Signals[0].Delta != nil || !strings.Contains(r.Unjudged[len(r.Unjudged)-1].Reason, "in the candidate: ") {
		t.Errorf("disordered: %v, %v", r.Signals, r.Unjudged)
	}
}

// Two definitions: the second in other units, and with a signal of its own.
func TestSignalsOfTwoDefinitions(t *testing.T) {
	lay := layoutOf(t, totals)
	next := strings.NewReplacer("totals-1", "totals-2", "unit: N.m, step: 0.01, value: \"signal('plug') / table('scale')\"", "unit: kN.m, step: 0.00001, value: \"signal('plug') / table('scale') / 1000.0\"",
		"inputs:", "  - {id: fresh, title: New, quantity: duty, unit: \"%\", value: \"table('apart')\"}\ninputs:").Replace(totals)
	nextLay := layoutOf(t, next)
	base := totalsImage()
	cand := edited(base, func(b []byte) { b[1] = 26 })
	r := compared(t, Input{Base: whole(lay, base), Candidate: image.Whole(0, cand), Layout: lay, CandidateLayout: nextLay})
	ids := map[string]*calibrationv1.SignalReport{}
	for _, s := range r.Signals {
		ids[s.Id] = s
	}
	if want := []string{"fresh", "plug", "torque"}; !slices.Equal(slices.Sorted(maps.Keys(ids)), want) {
		t.Fatalf("signals: %v", r.Signals)
	}
	if d := ids["torque"].Delta; math.Abs(d.Max-0.006) > 1e-5 || math.Abs(d.Min) > 1e-5 || ids["plug"].Delta.Max != 6 {
		t.Errorf("torque: %v", d)
	}
	if u := r.Unjudged[len(r.Unjudged)-1]; ids["fresh"].Delta != nil || u.Signal != "fresh" || !strings.Contains(u.Reason, "only the candidate's definition") {
		t.Errorf("fresh: %v, %v", ids["fresh"], r.Unjudged)
	}
}

// No table changed, but how plug is computed, which torque depends on: 1 deg is 1 N.m at a scale of 1.
func TestSignalThroughAnotherFormula(t *testing.T) {
	lay, next := layoutOf(t, totals), layoutOf(t, strings.NewReplacer("totals-1", "totals-2", "table('intake')\"", "table('intake') + 1.0\"").Replace(totals))
	r := compared(t, Input{Base: whole(lay, totalsImage()), Candidate: image.Whole(0, totalsImage()), Layout: lay, CandidateLayout: next})
	if len(r.Signals) != 2 || r.Signals[1].Id != "torque" || math.Abs(r.Signals[1].GetDelta().GetMax()-1) > 1e-9 || math.Abs(r.Signals[1].GetDelta().GetMin()-1) > 1e-9 {
		t.Errorf("signals: %v", r.Signals)
	}
}

// The excess of a finding on a signal counts in units of its limit, and at least of its step: 0.5 over 0.25 at a step
// of 2 is a quarter, 0.5 over 1 at a step of 0.01 a half.
func TestOrderOfFindingsOnSignals(t *testing.T) {
	lay := layoutOf(t, strings.Replace(totals, "unit: deg, value", "unit: deg, step: 2, value", 1))
	f := func(id string, limit float64) *calibrationv1.Finding {
		return &calibrationv1.Finding{Rule: "r", Severity: "warning", Signal: id, Worst: &calibrationv1.Worst{Excess: 0.5, Limit: &limit}}
	}
	got := []*calibrationv1.Finding{f("plug", 0.25), f("torque", 1)}
	order(got, lay)
	if got[0].Signal != "torque" || Key(got[1]) != "r:plug" {
		t.Errorf("order: %v", got)
	}
}

// A rule on a signal has looked at the tables that the signal looked up, and at no other: a branch that is not taken was
// not judged.
func TestWhatLimitsSeeThroughSignals(t *testing.T) {
	lay := layoutOf(t, strings.Replace(totals, "value: \"table('apart') * 2.0\"", "value: \"table('scale') > 5.0 ? table('apart') : 2.0\"", 1))
	lim := limitsOf(t, `
name: totals-limits
title: On signals
rules:
  - {id: most, severity: danger, select: {signals: [plug]}, reason: r, source: made up for this test, range: {unit: deg, max: 40}}
  - {id: duty, severity: danger, select: {signals: [loose]}, reason: r, source: made up for this test, range: {unit: "%", max: 50}}
`)
	base := totalsImage()
	run := func(edit func(b []byte)) *calibrationv1.Report {
		return compared(t, Input{Base: whole(lay, base), Candidate: whole(lay, edited(base, edit)), Layout: lay, Limits: lim})
	}
	r := run(func(b []byte) { b[2] = 40 }) // 40 + 4 deg at 5000 and beyond, at 20 Cel and below
	f := finding(t, r, "most:plug")
	if f.Table != "" || f.Signal != "plug" || f.Origin != "introduced" || math.Abs(f.Worst.GetExcess()-4) > 1e-9 || f.Worst.Inputs["engine_speed"] < 5000 || r.Verdict != "danger" {
		t.Errorf("most: %v", f)
	}
	if !slices.Equal(keys(r), []string{"most:plug"}) || !slices.Equal(r.Signals[0].JudgedBy, []string{"most"}) || len(r.Tables[0].JudgedBy) != 0 {
		t.Errorf("findings %q, judged by %v", keys(r), r.Signals)
	}
	r = run(func(b []byte) { b[0x18] = 90 })
	if f := finding(t, r, "no-limit:apart"); f.Detail != "in signal loose: duty did not look it up" || !slices.Equal(keys(r), []string{"no-limit:apart"}) {
		t.Errorf("not looked up: %v", r.Findings)
	}
	r = run(func(b []byte) { b[0x18], b[0x20] = 90, 60 }) // 6: the branch is taken
	if f := finding(t, r, "duty:loose"); f.Worst.GetValue() != 90 || slices.Contains(keys(r), "no-limit:apart") {
		t.Errorf("looked up: %v", r.Findings)
	}
}
