package limits

import (
	"testing"

	"witnessmark/tables/definition"
)

func TestBelowAndAbove(t *testing.T) {
	const below = `{"select":{"tables":["target"]},"below":{"table":"cut","margin":15,"unit":"kPa"}}`
	const above = `{"select":{"tables":["target"]},"above":{"table":"cut","margin":15,"unit":"kPa"}}`
	boost := func(id string, v ...float64) sheet { return sheet{id: id, quantity: "boost", unit: "kPa", v: v} }
	x2 := []float64{1000, 3000}
	target := func(a, b float64) sheet { return boost("target", a, b).on(x2...) }
	scalar := boost("cut", 230)
	// Peaks at 2000: 200, 180, 260.
	curve := boost("cut", 200, 180, 260).on(1000, 2000, 3000)
	byGear := boost("cut", 240, 250, 190, 260).grid(x2, []float64{1, 2})
	byGear.yq = "gear 1"
	inBar := boost("cut", 2.1, 2.3).on(1000, 3000)
	inBar.unit = "bar"
	broken := boost("cut", 1, 2, 3).on(1, 3, 2)
	for _, c := range []judgeCase{
		// 230 - 15 = 215 everywhere; 220 is 5 too high.
		{"scalar", below, []sheet{target(200, 200), scalar}, []sheet{target(200, 220), scalar}, "target introduced 1x 220/215 by 5 x=3000 [0,1]", "target -5 (220/215) x=3000", ""},
		// At 2000 the target is (160+180)/2 = 170, and 180 - 15 = 165: 5 too high, between its cells. Elsewhere 185, 245.
		{"curve, between cells", below, []sheet{target(160, 160), curve}, []sheet{target(160, 180), curve}, "target introduced 1x 170/165 by 5 x=2000", "target -5 (170/165) x=2000", ""},
		// Only the cut came down, from 230 to 210: 200 against 195.
		{"the other moved", below, []sheet{target(200, 190), scalar}, []sheet{target(200, 190), boost("cut", 210)}, "target introduced 1x 200/195 by 5 x=1000 [0,0]", "target -5 (200/195) x=1000", ""},
		// The cut by gear at its worst: the lower of both rows is 190 at 1000, 250 at 3000: 175 and 235.
		{"axis that only the other has", below, []sheet{target(100, 100), byGear}, []sheet{target(180, 230), byGear}, "target introduced 1x 180/175 by 5 x=1000 [0,0]", "target -5 (180/175) x=1000", ""},
		// Above takes the higher: 240 at 1000, 260 at 3000, and 15 more.
		{"above, at its worst", above, []sheet{target(300, 300), byGear}, []sheet{target(300, 270), byGear}, "target introduced 1x 270/275 by 5 x=3000 [0,1]", "target -5 (270/275) x=3000", ""},
		// 2.1 bar and 2.3 bar are 210 and 230 kPa: 195 and 215. Both were 5 too high before; one is 8 too high now, and
		// beside the other one, in the cell that both touch, it is more than it was.
		{"units and origins", below, []sheet{target(200, 220), inBar}, []sheet{target(203, 220), inBar}, "target worsened 2x 203/195 by 8 x=1000 [0,0]", "target -8 (203/195) x=1000", ""},
		{"units, inherited", below, []sheet{target(203, 220), inBar}, []sheet{target(200, 220), inBar}, "target inherited 2x 220/215 by 5 x=3000 [0,1]", "-", ""},
		// At 2000 the curve is 200, and the target as far beyond it as before; the cut at 3000 came down from 275 to 245.
		{"the other moved beside it", below, []sheet{target(160, 230), boost("cut", 200, 180, 275).on(1000, 2000, 3000)}, []sheet{target(160, 230), boost("cut", 200, 180, 245).on(1000, 2000, 3000)},
			"target worsened 1x 195/165 by 30 x=2000", "target -30 (195/165) x=2000", ""},
		{"other broken", below, []sheet{target(1, 1), broken}, []sheet{target(2, 2), broken}, "", "", "target: table cut: the breakpoints along x neither rise nor fall"},
		{"no room left, none missing", below, []sheet{target(215, 215), scalar}, []sheet{target(215, 214), scalar}, "", "target 0 (215/215) x=1000", ""},
	} {
		t.Run(c.name, func(t *testing.T) { c.run(t) })
	}
}

// The other table curves between its cells, and so does what is left under it.
func TestBelowACurvedTable(t *testing.T) {
	a := sheet{id: "a", unit: "deg", x: []float64{1000, 3000}, v: []float64{30, 5}}
	b := sheet{id: "b", unit: "deg", x: []float64{1000, 3000}, v: []float64{50, 100}, rational: &definition.Conversion{Rational: true, Num: [3]float64{1000, 0, 0}, Den: [3]float64{0, 1, 0}}}
	in := judging([]sheet{a, b}, []sheet{a, b})
	out := judged(t, in, rule(`{"select":{"tables":["a"]},"below":{"table":"b"}}`))
	// b is 1000/50 = 20 and 1000/100 = 10.
	if got := sayAll(out.Findings); got != "a inherited 1x 30/20 by 10 x=1000 [0,0]" {
		t.Errorf("got %s", got)
	}
	if f := out.Findings[0]; len(f.Tables) != 1 || f.Tables[0] != "b" {
		t.Errorf("the finding does not say against which table: %v", f)
	}
}

// The rule ties both tables: a change of either is judged, and both were looked at.
func TestBelowTiesTheTwo(t *testing.T) {
	a := sheet{id: "a", quantity: "boost", unit: "kPa", v: []float64{10}}
	b := sheet{id: "b", quantity: "boost", unit: "kPa", v: []float64{20}}
	r := rule(`{"select":{"tables":["a"]},"below":{"table":"b","margin":1,"unit":"kPa"}}`)
	for changed, want := range map[string]int{"a": 1, "b": 1, "c": 0} {
		in := judging([]sheet{a, b}, []sheet{a, b})
		in.Changed = []string{changed}
		out := judged(t, in, r)
		if len(out.JudgedBy["a"]) != want || len(out.JudgedBy["b"]) != want || len(out.Margins) != want {
			t.Errorf("%s changed: judged by %v, margins %v", changed, out.JudgedBy, out.Margins)
		}
	}
}

// Selected by quantity, the other table is picked as well, and is not held against itself.
func TestBelowPassesOverTheOtherTable(t *testing.T) {
	a := sheet{id: "a", quantity: "boost", unit: "kPa", v: []float64{10}}
	b := sheet{id: "b", quantity: "boost", unit: "kPa", v: []float64{20}}
	r := rule(`{"select":{"quantity":"boost"},"below":{"table":"b","margin":15,"unit":"kPa"}}`)
	out := judged(t, judging([]sheet{a, b}, []sheet{a, b}), r)
	if got := sayAll(out.Findings); got != "a inherited 1x 10/5 by 5 [0,0]" {
		t.Errorf("got %s", got)
	}
	if len(out.Margins) != 1 || len(out.Unjudged) != 0 {
		t.Errorf("margins %v, unjudged %v", out.Margins, out.Unjudged)
	}
}
