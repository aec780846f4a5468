package limits

import (
	"fmt"
	"math"
	"testing"

	"pgregory.net/rapid"

	"witnessmark/tables/definition"
)

// over is num over raw: what is stored as the time between two teeth, and read as a speed.
func over(num float64) *definition.Conversion {
	return &definition.Conversion{Rational: true, Num: [3]float64{num}, Den: [3]float64{0, 1}}
}

const floors = `{"envelope":{"side":"min","unit":"1/min","x":{"quantity":"engine_speed","unit":"1/min","points":[1000,2000]},"values":[[9000,200]]}}`

// The cells are 10000, 250 and 10000, which is above the floor at each of them; at 1500 the raw value is 20500 and the
// controller has 1e7/20500 = 487.8, where the floor is 4600.
func TestARationalTableBetweenItsCells(t *testing.T) {
	s := func(raw ...float64) sheet {
		return sheet{id: "t", quantity: "q", unit: "1/min", x: []float64{1000, 2000, 3000}, v: raw, rational: over(1e7)}
	}
	out := judged(t, judging(one(s(1000, 1100, 1000)), one(s(1000, 40000, 1000))), rule(floors))
	if len(out.Findings) != 1 || len(out.Margins) != 1 {
		t.Fatalf("found %v", out.Findings)
	}
	f := out.Findings[0]
	w := f.Worst
	// The worst by calculus: with s from 0 to 1, 9000 − 8800s − 1e7/(1000+39000s) is greatest where 1e7·39000/(1000+39000s)² = 8800.
	raw := math.Sqrt(1e7 * 39000 / 8800)
	at := (raw - 1000) / 39000
	worst := 9000 - 8800*at - 1e7/raw
	if f.Origin != "introduced" || f.Count != 1 || math.Abs(w.GetX()-1000-1000*at) > 50 || w.Excess > worst+1e-9 || w.Excess < worst-1e7/1000+1e7/1001 || w.GetBound() < worst {
		t.Errorf("got %v; the worst is %v at %v", f, worst, 1000+1000*at)
	}
	if got := 9000 - 8800*(w.GetX()-1000)/1000; math.Abs(w.GetLimit()-got) > 1e-9 || math.Abs(w.Inputs["engine_speed"]-w.GetX()) > 0 || w.Row != nil {
		t.Errorf("the worst is no real point: %v", w)
	}
	if m := out.Margins[0]; m.Margin != -w.Excess || m.GetX() != w.GetX() || m.Inputs["engine_speed"] != w.GetX() {
		t.Errorf("margin %v", m)
	}
}

// What is judged over boxes is what it is by corners, where it does not curve: with a conversion that is rational in
// name alone, of raw steps of which half a one decides nothing.
func TestBoxesAgreeWithTheExactWay(t *testing.T) {
	const step = 0x1p-6 // all that there is goes in wholes of it
	bent := func(s sheet) sheet {
		s.rational = &definition.Conversion{Rational: true, Num: [3]float64{0, step}, Den: [3]float64{1}}
		s.v = append([]float64{}, s.v...)
		for i := range s.v {
			s.v[i] /= step
		}
		return s
	}
	rapid.Check(t, func(t *rapid.T) {
		cells := func(name string, n int) []float64 {
			out := wholes(t, name, n)
			for i, v := range out {
				out[i] = v + 8
			}
			return out
		}
		cand := modelMap(t, "cand", rapid.Bool().Draw(t, "falling"), rapid.IntRange(1, 4).Draw(t, "nx"), rapid.IntRange(1, 3).Draw(t, "ny"))
		cand.v = cells("cand", len(cand.v))
		base := cand
		base.v = cells("base", len(cand.v))
		e := envelopeRule(rapid.SampledFrom([]string{"max", "min"}).Draw(t, "side"), []float64{-2, 2, 6}, []float64{0, 2}, cells("limits", 6))
		if in := drawZone(t); rapid.Bool().Draw(t, "confined") {
			e.Where = rule(`{"frozen":{},` + in.text() + `}`).Where
		}
		exact := judged(t, judging(one(base), one(cand)), e)
		boxes := judged(t, judging(one(bent(base)), one(bent(cand))), e)
		if a, b := worsts(exact), worsts(boxes); a != b {
			t.Fatalf("base %v\ncand %v\n%v\nexact %s\nboxes %s", base, cand, e, a, b)
		}
	})
}

// worsts are the worst that counts, the worst that is inherited if nothing counts, and the margin: where the surface is new
// between two corners, boxes say introduced and corners say worsened.
func worsts(out *Judged) string {
	counts, inherits := -1.0, -1.0
	for _, f := range out.Findings {
		if f.Rule == "undecided" {
			return fmt.Sprint("undecided ", f)
		}
		if f.Origin == "inherited" {
			inherits = f.Worst.Excess
		} else {
			counts = max(counts, f.Worst.Excess)
		}
	}
	if counts > 0 {
		inherits = 0
	}
	text := fmt.Sprintf("counts %.6f, inherited %.6f", counts, inherits)
	for _, m := range out.Margins {
		text += fmt.Sprintf(", margin %.6f", m.Margin+0) // no −0
	}
	return text
}

// By hand: 1e4/raw is 100, 50 and 25 at raw 100, 200, 400; at 1500 the raw value is 150, so 66.7, and at 2500 it is 300: 33.3.
func TestCurvesInEveryRuleOfSurfaces(t *testing.T) {
	s := func(raw ...float64) sheet {
		return sheet{id: "t", quantity: "q", unit: "deg", x: []float64{1000, 2000, 3000}, v: raw, rational: over(1e4)}
	}
	flat := sheet{id: "flat", quantity: "q", unit: "deg", x: []float64{1000, 3000}, v: []float64{90, 30}}
	for _, c := range []struct {
		name, rule string
		cand       []float64
		origin     string
		lo, hi     float64 // of the excess
	}{
		// The base is 66.67 at 1500, and at raw 100 it is 100.
		{"range", speeds(`{"range":{"unit":"deg","max":80}}`, `"from":1400,"to":1600,"unit":"1/min"`), []float64{100, 100, 400}, "introduced", 20, 20},
		{"range, cells alone", `{"range":{"unit":"deg","max":80}}`, []float64{100, 190, 400}, "inherited", 20, 20},
		{"change, where", speeds(`{"change":{"unit":"deg","max_up":10}}`, `"from":1500,"to":1500,"unit":"1/min"`), []float64{100, 100, 400}, "introduced", 23.33, 23.34},
		{"change, per cent", speeds(`{"change":{"percent":true,"max_up":10}}`, `"from":1500,"to":1500,"unit":"1/min"`), []float64{100, 100, 400}, "introduced", 26.66, 26.67},
		// Straight from 90 to 30; at 1000 the curve is 10 beyond, and nothing moved there. At 3000 it is 33.3 now, which is less.
		{"below", `{"select":{"tables":["t"]},"below":{"table":"flat"}}`, []float64{100, 200, 300}, "inherited", 10, 10},
		{"below, beside it", `{"select":{"tables":["t"]},"below":{"table":"flat"}}`, []float64{100, 150, 400}, "worsened", 10, 10},
		{"above", `{"select":{"tables":["t"]},"above":{"table":"flat","margin":-1,"unit":"deg"}}`, []float64{100, 400, 400}, "worsened", 34, 37},
	} {
		out := judged(t, judging([]sheet{s(100, 200, 400), flat}, []sheet{s(c.cand...), flat}), rule(c.rule))
		worst, origin := -1.0, ""
		for _, f := range out.Findings {
			if f.Table == "t" && f.Worst.Excess > worst {
				worst, origin = f.Worst.Excess, f.Origin
			}
		}
		if worst < c.lo-1e-9 || worst > c.hi || origin != c.origin {
			t.Errorf("%s: %s by %v of %v, want %s by %v to %v", c.name, origin, worst, out.Findings, c.origin, c.lo, c.hi)
		}
	}
	// New ground from 2000 to 2500, where it falls to 33.3: nobody touched the table.
	in := judging(one(s(100, 200, 400)), one(s(100, 200, 400)))
	in.Changed, in.NewGround = nil, []NewGround{{Quantity: "engine_speed", From: 2000, To: 2500, Unit: "1/min"}}
	out := judged(t, in, rule(`{"range":{"unit":"deg","min":40}}`))
	if len(out.Findings) != 1 || out.Findings[0].Origin != "introduced" || math.Abs(out.Findings[0].Worst.Excess-20.0/3) > 1e-9 {
		t.Errorf("new ground: %v", out.Findings)
	}
	in.Changed = []string{"t"}
	out = judged(t, in, rule(`{"range":{"unit":"deg","min":40}}`))
	if len(out.Findings) != 2 || out.Findings[0].Count != 1 || out.Findings[1].Origin != "inherited" || out.Findings[1].Worst.Excess != 15 {
		t.Errorf("new ground of a changed table: %v", out.Findings)
	}
}

// Raw 0 is 0/0 in both images, which is no change, confined or not. Beside it 1e4/raw goes from 50 to 40, or to 100.
func TestWhatWasNoNumberStaysWhereTheRuleIsConfined(t *testing.T) {
	s := func(raw ...float64) []sheet {
		return one(sheet{id: "t", quantity: "q", unit: "deg", x: []float64{1000, 2000, 3000, 4000}, v: raw,
			rational: &definition.Conversion{Rational: true, Num: [3]float64{0, 1e4}, Den: [3]float64{0, 0, 1}}})
	}
	for _, text := range []string{`{"change":{"unit":"deg","maxUp":20,"maxDown":20}}`, speeds(`{"change":{"unit":"deg","maxUp":20,"maxDown":20}}`, `"from":500,"to":4000,"unit":"1/min"`)} {
		if out := judged(t, judging(s(0, 100, 200, 400), s(0, 100, 250, 400)), rule(text)); len(out.Findings)+len(out.Unjudged)+len(out.Passed) > 0 || len(out.JudgedBy["t"]) != 1 {
			t.Errorf("%s: %v, %v", text, sayAll(out.Findings), out.JudgedBy)
		}
		out := judged(t, judging(s(0, 100, 200, 400), s(0, 100, 100, 400)), rule(text))
		if len(out.Findings) != 1 || out.Findings[0].Worst.GetX() != 3000 || math.Abs(out.Findings[0].Worst.GetExcess()-30) > 1e-9 {
			t.Errorf("%s: %v", text, sayAll(out.Findings))
		}
	}
}
