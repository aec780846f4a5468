package limits

import (
	"strings"
	"testing"

	"witnessmark/tables/surface"
)

// speeds confines a rule to a stretch of engine speed.
func speeds(text, stretch string) string {
	return strings.TrimSuffix(text, "}") + `,"where":{"engine_speed":{` + stretch + `}}}`
}

func TestWhere(t *testing.T) {
	const max20 = `{"range":{"unit":"deg","max":20}}`
	const from1500 = `"from":1500,"to":2500,"unit":"1/min"`
	onLoad := strings.Replace(max20, "}}", `},"where":{"load":{"from":50,"unit":"%"}}}`, 1)
	gear := strings.Replace(max20, "}}", `},"where":{"gear":{"from":2,"unit":"1"}}}`, 1)
	other := sheet{id: "cut", quantity: "ignition_advance", unit: "deg", x: []float64{1000, 3000}, y: []float64{1, 2}, v: []float64{30, 30, 10, 20}, yq: "gear 1"}
	against := func(stretch string) string {
		return `{"select":{"tables":["ign"]},"below":{"table":"cut"},"where":{` + stretch + `}}`
	}
	for _, c := range []judgeCase{
		// From 10 at 1000 to 30 at 3000: 25 at 2500, and no cell lies there. The base was 10.
		{"an end between cells", speeds(max20, from1500), one(ign(10, 10).on(1000, 3000)), one(ign(10, 30).on(1000, 3000)), "ign introduced 1x 25/20 by 5 x=2500", "ign -5 (25/20) x=2500", ""},
		// The curve is 30 at 2000 and at 3000 alike; only what lies inside counts: 2000 and the end at 2500.
		{"ends are inside", speeds(max20, `"from":2000,"to":2500,"unit":"1/min"`), one(ign(30, 30, 30)), one(ign(30, 30, 30)), "ign inherited 2x 30/20 by 10 x=2000 [0,1]", "-", ""},
		// 25 1/s are 1500 1/min, and the curve is 20 there: inside the limit.
		{"another unit", speeds(max20, `"to":25,"unit":"1/s"`), one(ign(10, 30)), one(ign(10, 30)), "", "ign 0 (20/20) x=1500", ""},
		// Past the last breakpoint the end is held.
		{"beyond the axis", speeds(max20, `"from":9000,"unit":"1/min"`), one(ign(10, 20)), one(ign(10, 30)), "ign introduced 1x 30/20 by 10 x=9000", "-", ""},
		// A step at 2000 from 30 to 10: the surface at 2000 is 10, and what lies below it is not in the stretch.
		{"from a step", speeds(max20, `"from":2000,"unit":"1/min"`), one(ign(0, 0, 0, 0).on(1000, 2000, 2000, 3000)), one(ign(30, 30, 10, 10).on(1000, 2000, 2000, 3000)), "", "ign 10 (10/20) x=2000", ""},
		{"to a step", speeds(max20, `"to":2000,"unit":"1/min"`), one(ign(0, 0, 0, 0).on(1000, 2000, 2000, 3000)), one(ign(0, 30, 10, 10).on(1000, 2000, 2000, 3000)), "ign introduced 1x 30/20 by 10 x=2000 [0,1]", "-", ""},
		{"no such axis", onLoad, one(ign(10)), one(ign(30)), "", "", ""},
		{"index axis", gear, one(gears(0, 0, 0)), one(gears(30, 25, 22)), "ign introduced 2x 25/20 by 5 x=2 [0,1]", "ign -5 (25/20) x=2", ""},
		{"no point of an index axis", strings.Replace(gear, `"from":2`, `"from":2.2,"to":2.8`, 1), one(gears(0, 0, 0)), one(gears(30, 25, 22)), "", "", ""},
		// 12 and 15 run to 13.5 at 1500; the table is 14 there. Outside it is worse.
		{"envelope", speeds(envelope1, `"to":1500,"from":1500,"unit":"1/min"`), one(ign(99, 14, 99).on(500, 1500, 3000)), one(ign(99, 14, 99).on(500, 1500, 3000)), "ign inherited 1x 14/13.5 by 0.5 x=1500 [0,1]", "-", ""},
		// Up by 10 at 2000, and by 5 at the end at 1500.
		{"change", speeds(`{"change":{"unit":"deg","max_up":4}}`, `"to":1500,"unit":"1/min"`), one(ign(10, 10, 10)), one(ign(10, 20, 10)), "ign introduced 1x 15/14 by 1 x=1500", "", ""},
		// Steep from 1000 to 2000 and from 3000 to 4000; the stretch meets the second pair at its end.
		{"slope", speeds(`{"slope":{"unit":"deg","along":"x","max":0.001}}`, `"from":2500,"to":3000,"unit":"1/min"`), one(ign(0, 0, 0, 0)), one(ign(0, 9, 9, 0)), "ign introduced 1x 0.009/0.001 by 0.008 x=3000 [0,2]", "", ""},
		{"lump", speeds(`{"lump":{"unit":"deg","max":1}}`, `"from":2500,"to":3000,"unit":"1/min"`), one(ign(0, 0, 0, 0)), one(ign(0, 9, 0, 0)), "ign introduced 1x 4.5/1 by 3.5 x=3000 [0,2]", "", ""},
		{"no inner cell", speeds(`{"lump":{"unit":"deg","max":1}}`, `"to":1000,"unit":"1/min"`), one(ign(0, 0, 0, 0)), one(ign(0, 9, 0, 0)), "", "", ""},
		{"order of values", speeds(`{"monotonic":{"of":"values","along":"x","rising":true}}`, `"from":3500,"unit":"1/min"`), one(ign(0, 1, 2, 3)), one(ign(3, 2, 1, 0)), "ign introduced 1x 0/1 by 1 x=4000 [0,3]", "", ""},
		{"order of breakpoints", speeds(`{"monotonic":{"of":"axes"}}`, `"from":2500,"unit":"1/min"`), one(ign(0, 0, 0, 0)), one(ign(0, 0, 0, 0).on(500, 500, 2000, 2000)), "", "", ""},
		// By gear the cut is 30 and 30 in gear 1, 10 and 20 in gear 2. In gear 2 alone: 10 at 1000, 15 at 2000.
		{"below, of an axis that only the other has", against(`"gear":{"from":2,"unit":"1"}`), []sheet{ign(5, 5), other}, []sheet{ign(12, 16), other}, "ign introduced 2x 12/10 by 2 x=1000 [0,0]", "-", ""},
		{"below, elsewhere", against(`"gear":{"to":1,"unit":"1"}`), []sheet{ign(5, 5), other}, []sheet{ign(12, 16), other}, "", "-", ""},
		// At gear 1.5 it is halfway: 20 and 25 at 1000 and 3000.
		{"below, between", against(`"gear":{"to":1.5,"from":1.5,"unit":"1"},"engine_speed":{"to":1000,"unit":"1/min"}`), []sheet{ign(5, 5), other}, []sheet{ign(22, 99), other}, "ign introduced 1x 22/20 by 2 x=1000 [0,0]", "-", ""},
		{"below, of no axis", against(`"load":{"to":1,"unit":"%"}`), []sheet{ign(5, 5), other}, []sheet{ign(99, 99), other}, "", "", ""},
	} {
		t.Run(c.name, c.run)
	}
}

// What a rule passed over it did not judge, and it says why.
func TestPassedOver(t *testing.T) {
	for text, why := range map[string]string{
		strings.Replace(envelope1, "engine_speed", "load", 1):         "it has no axis of load, which the envelope needs",
		speeds(`{"range":{"max":20}}`, `"from":1,"unit":"1/min"`):     "",
		`{"range":{"max":20},"where":{"load":{"from":1,"unit":"%"}}}`: "it has no axis of load",
		`{"lump":{"max":1}}`: "it has no cell with the neighbours that the rule is about, where the rule holds",
		speeds(`{"slope":{"along":"x","max":1}}`, `"from":9999,"unit":"1/min"`): "it has no cell with the neighbours that the rule is about, where the rule holds",
		speeds(`{"monotonic":{"of":"axes"}}`, `"from":9999,"unit":"1/min"`):     "no axis of it has two breakpoints where the rule holds",
		`{"select":{"quantity":"ignition_advance"},"below":{"table":"ign"}}`:    "it is the table that others are held against",
	} {
		out := judged(t, judging(one(ign(1, 2)), one(ign(1, 3))), rule(text))
		if (why == "") != (len(out.JudgedBy["ign"]) == 1) || (why == "") != (len(out.Passed) == 0) || len(out.Unjudged)+len(out.Findings) != 0 {
			t.Errorf("%s: judged by %v, passed %v, unjudged %v, %v", text, out.JudgedBy, out.Passed, out.Unjudged, out.Findings)
		}
		if why != "" && len(out.Passed) == 1 && (out.Passed[0].Reason != why || out.Passed[0].Table != "ign" || out.Passed[0].Rule != "r") {
			t.Errorf("%s: %v", text, out.Passed)
		}
	}
}

// Limit 20; base cells 15 and 21, candidate 19 and 21: the corner at 21 is as it was, but beside it the engine
// newly gets 20.67.
func TestOriginBetweenCells(t *testing.T) {
	const steps = `{"envelope":{"side":"max","unit":"deg","x":{"quantity":"engine_speed","unit":"1/min","points":[0]},"values":[[20]]}}`
	at := []float64{1000, 2000, 2000, 3000}
	for _, c := range []judgeCase{
		{"newly beside it", steps, one(ign(15, 21)), one(ign(19, 21)), "ign worsened 1x 21/20 by 1 x=2000 [0,1]", "-", ""},
		{"less beside it", steps, one(ign(19, 21)), one(ign(15, 21)), "ign inherited 1x 21/20 by 1 x=2000 [0,1]", "-", ""},
		// The cell that grew touches 2000, and not 3000.
		{"two cells away", steps, one(ign(15, 21, 21)), one(ign(19, 21, 21)), "ign worsened 1x 21/20 by 1 x=2000 [0,1]; ign inherited 1x 21/20 by 1 x=3000 [0,2]", "-", ""},
		// A step at 2000 from 21 to 10, and 3000 grew: below the step, all is as it was.
		{"beyond the step", steps, one(ign(10, 21, 10, 10).on(at...)), one(ign(10, 21, 10, 19).on(at...)), "ign inherited 1x 21/20 by 1 x=2000 [0,1]", "-", ""},
		{"before the step", steps, one(ign(10, 21, 10, 10).on(at...)), one(ign(15, 21, 10, 10).on(at...)), "ign worsened 1x 21/20 by 1 x=2000 [0,1]", "-", ""},
		// The base had a breakpoint at 1500, where it went down to 15; the limit has one at 0, where both are held.
		{"where the base bent", steps, one(ign(21, 15, 21).on(1000, 1500, 2000)), one(ign(21, 21).on(1000, 2000)), "ign worsened 2x 21/20 by 1 x=1000 [0,0]; ign inherited 1x 21/20 by 1 x=0", "-", ""},
		// Gears do not touch.
		{"index axis", `{"range":{"max":20},"where":{"gear":{"from":1,"unit":"1"}}}`, one(gears(15, 21)), one(gears(19, 21)), "ign inherited 1x 21/20 by 1 x=2 [0,1]", "-", ""},
		// Its own cells, and no surface: nothing lies between them.
		{"range", `{"range":{"max":20}}`, one(ign(15, 21)), one(ign(19, 21)), "ign inherited 1x 21/20 by 1 x=2000 [0,1]", "-", ""},
	} {
		t.Run(c.name, c.run)
	}
}

// An unchanged table is judged where the engine newly gets, a changed one there as if it had no base.
func TestNewGround(t *testing.T) {
	const max20 = `{"range":{"unit":"deg","max":20}}`
	const ceiling = `{"envelope":{"side":"max","unit":"deg","x":{"quantity":"engine_speed","unit":"1/min","points":[0]},"values":[[20]]}}`
	still := ign(10, 10, 22, 30) // at 1000 to 4000: 16 at 2500, 26 at 3500
	for _, c := range []struct {
		name, rule string
		from, to   float64
		changed    bool
		want       string
	}{
		{"between cells", max20, 2000, 2950, false, "ign introduced 1x 21.4/20 by 1.4 x=2950"},
		{"cells and the end", max20, 2000, 3500, false, "ign introduced 2x 26/20 by 6 x=3500"},
		{"a surface", ceiling, 2500, 3500, false, "ign introduced 2x 26/20 by 6 x=3500"},
		{"nothing beyond", max20, 1000, 2500, false, ""},
		{"past the last breakpoint", max20, 4000, 5000, false, "ign introduced 2x 30/20 by 10 x=4000 [0,3]"},
		{"a changed table, once", max20, 2500, 3500, true, "ign introduced 2x 26/20 by 6 x=3500; ign inherited 1x 30/20 by 10 x=4000 [0,3]"},
		{"a changed surface, once", ceiling, 2500, 3500, true, "ign introduced 2x 26/20 by 6 x=3500; ign inherited 1x 30/20 by 10 x=4000 [0,3]"},
		// From 2000 down to 900: it reached 2000 before.
		{"the least fell", `{"range":{"unit":"deg","min":15}}`, 2000, 900, false, "ign introduced 3x 10/15 by 5 x=900"},
		// Up to the old reach it rose by 12 for 1000; beyond it by 8.
		{"pairs", `{"slope":{"unit":"deg","along":"x","max":0.006}}`, 3000, 3500, false, "ign introduced 1x 0.008/0.006 by 0.002 x=3000 [0,2]"},
		{"a changed table's pairs", `{"slope":{"unit":"deg","along":"x","max":0.006}}`, 3000, 3500, true, "ign introduced 1x 0.008/0.006 by 0.002 x=3000 [0,2]; ign inherited 1x 0.012/0.006 by 0.006 x=2000 [0,1]"},
		// Off the line by 6 at 2000 and by 2 at 3000.
		{"inner cells", `{"lump":{"unit":"deg","max":1}}`, 2000, 3500, false, "ign introduced 1x 2/1 by 1 x=3000 [0,2]"},
		{"not change", `{"change":{"unit":"deg","max_up":0}}`, 2000, 3500, false, ""},
		{"not frozen", `{"frozen":{}}`, 2000, 3500, false, ""},
		{"where it is confined to elsewhere", speeds(max20, `"to":2500,"unit":"1/min"`), 2000, 3500, false, ""},
	} {
		other := sheet{id: "load", unit: "deg", x: []float64{1, 2}, xq: "load %", v: []float64{99, 99}}
		in := judging([]sheet{still, other}, []sheet{still, other})
		if in.Changed = nil; c.changed {
			in.Changed = []string{"ign"}
		}
		in.NewGround = []NewGround{{Quantity: "engine_speed", From: c.from / 60, To: c.to / 60, Unit: "1/s", By: []string{"limiter"}}}
		out := judged(t, in, rule(c.rule))
		if got := sayAll(out.Findings); got != c.want {
			t.Errorf("%s:\n got %s\nwant %s", c.name, got, c.want)
		}
		if by := out.JudgedBy["load"]; by != nil {
			t.Errorf("%s: judged load by %v", c.name, by)
		}
	}
}

func TestChangeSinceAsFound(t *testing.T) {
	const up4 = `{"change":{"unit":"deg","max_up":4,"max_down":4,"since":"as-found"}}`
	for _, c := range []struct {
		name, rule        string
		found, base, cand sheet
		want              string
	}{
		// Three degrees a visit are six: 16 against 10 and 4, and the base's 13 was inside.
		{"small steps", up4, ign(10), ign(13), ign(16), "ign introduced 1x 16/14 by 2 x=1000 [0,0]"},
		{"further still", up4, ign(10), ign(16), ign(17), "ign worsened 1x 17/14 by 3 x=1000 [0,0]"},
		{"coming back", up4, ign(10), ign(18), ign(17), "ign inherited 1x 17/14 by 3 x=1000 [0,0]"},
		{"over to the other side", up4, ign(10), ign(18), ign(4), "ign introduced 1x 4/6 by 2 x=1000 [0,0]"},
		{"as it was", up4, ign(10), ign(18), ign(10), ""},
		// 10 % of 10 is 1.
		{"per cent", `{"change":{"percent":true,"max_up":10,"since":"as-found"}}`, ign(10), ign(10.5), ign(12), "ign introduced 1x 12/11 by 1 x=1000 [0,0]"},
		// Found 10 and 20, so 15 at 1500, where the candidate's breakpoint is: 20 against 19. The base was 12 and 21 there: 16.5.
		{"other breakpoints", up4, ign(10, 20), ign(12, 21), ign(10, 20, 20).on(1000, 1500, 2000), "ign introduced 1x 20/19 by 1 x=1500 [0,1]"},
		{"between cells", up4, ign(10, 10).on(1000, 3000), ign(12, 15).on(1000, 3000), ign(13, 15, 14).on(1000, 3000, 4000), "ign worsened 1x 15/14 by 1 x=3000 [0,1]"},
		{"where", speeds(up4, `"to":1500,"unit":"1/min"`), ign(10, 10), ign(10, 10), ign(10, 20), "ign introduced 1x 15/14 by 1 x=1500"},
	} {
		in := judging(one(c.base), one(c.cand))
		d := c.found.decoded()
		in.AsFound = func(string) *surface.Decoded { return d }
		if got := sayAll(judged(t, in, rule(c.rule)).Findings); got != c.want {
			t.Errorf("%s:\n got %s\nwant %s", c.name, got, c.want)
		}
	}
	for why, found := range map[string]func(string) *surface.Decoded{
		"the image as found was not given":               nil,
		"the image as found has nothing to compare with": func(string) *surface.Decoded { return nil },
		"the breakpoints along x neither rise nor fall":  func(string) *surface.Decoded { return ign(1, 2, 3).on(1, 3, 2).decoded() },
	} {
		in := judging(one(ign(1, 2, 3)), one(ign(1, 2, 4)))
		in.AsFound = found
		if out := judged(t, in, rule(up4)); len(out.Unjudged) != 1 || !strings.HasSuffix(out.Unjudged[0].Reason, why) || len(out.JudgedBy) != 0 {
			t.Errorf("%v, judged by %v; want %q", out.Unjudged, out.JudgedBy, why)
		}
	}
}

// A table that cannot be read is not judged, nor what is held against it.
func TestUnknownTables(t *testing.T) {
	const hole = "the candidate lacks bytes 0x10 to 0x12"
	for _, text := range []string{
		`{"select":{"tables":["ign"]},"range":{"max":20}}`, `{"select":{"tables":["load"]},"below":{"table":"ign"}}`,
		`{"select":{"tables":["load"]},"expression":"table('ign').max() < 3.0"}`,
	} {
		in := judging([]sheet{ign(1), ign(2).named("load")}, []sheet{ign(1), ign(2).named("load")})
		in.Unknown = func(id string) string {
			if id == "ign" {
				return hole
			}
			return ""
		}
		out := judged(t, in, rule(text))
		if len(out.Findings)+len(out.JudgedBy) != 0 || len(out.Unjudged) != 1 || !strings.Contains(out.Unjudged[0].Reason, hole) {
			t.Errorf("%s: %v, %v, judged by %v", text, out.Findings, out.Unjudged, out.JudgedBy)
		}
	}
}

// At 2000 itself the signal is what the step has above: 30, where 20 are allowed up to there.
func TestWhereOfASignalEndsAtAStep(t *testing.T) {
	r := &rig{}
	r.table("c", "quantity: q, unit: deg", nil, 15)
	r.signal("s", "quantity: q, unit: deg", "input('engine_speed') < 2000.0 ? 10.0 : table('c')")
	r.input("engine_speed", "1/min", 600, 6000, "")
	for end, want := range map[string]string{
		"2000": "s introduced 1x 30/20 by 10 engine_speed=2000",
		"1999": "",
		"2500": "s introduced 1x 30/20 by 10 engine_speed=2000",
	} {
		got := sayPoints(checked(t, r.judging(t, map[string][]float64{"c": {30}}),
			rule(`{"select":{"signals":["s"]},"range":{"unit":"deg","max":20},"where":{"engine_speed":{"unit":"1/min","to":`+end+`}}}`)))
		if got != want {
			t.Errorf("to %s: %q, want %q", end, got, want)
		}
	}
}
