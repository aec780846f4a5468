package limits

import (
	"strings"
	"testing"

	"witnessmark/tables/definition"
)

var straight = &definition.Points{Raw: []float64{0, 200}, Physical: []float64{0, 200}}

// Tables are held against each other along the axes that they share, in whatever units those are; an axis without a quantity is
// shared with nothing. Each is judged by corners, and once more over boxes, with a conversion by pairs that changes nothing.
func TestStructuresAgainstEachOther(t *testing.T) {
	block := func(v ...float64) sheet {
		return sheet{id: "m", unit: "deg", quantity: "q", x: []float64{0, 1000}, y: []float64{0}, v: v, beyond: []deep{{what: "air Cel", points: []float64{0, 20}}}}
	}
	// 100 at 0 Cel, 50 at 20 Cel: 273.15 and 293.15 K.
	kelvin := sheet{id: "o", unit: "deg", quantity: "q", xq: "air K", x: []float64{273.15, 293.15}, v: []float64{100, 50}}
	coded := sheet{id: "o", unit: "deg", quantity: "q", xq: "air K", x: []float64{273.15, 293.15}, v: []float64{100, 255}, off: []bool{false, true}}
	named := func(id string, v ...float64) sheet {
		return sheet{id: id, unit: "deg", quantity: "q", x: []float64{0, 1}, v: v, xLabels: []string{"a", "b"}}
	}
	mixed := sheet{id: "o", unit: "deg", quantity: "q", x: []float64{0, 1000}, y: []float64{0, 1}, yq: "oil Cel", v: []float64{100, 90, 80, 70}, beyond: []deep{{what: "air Cel", points: []float64{0, 20}}}}
	mixed.v = append(mixed.v, 60, 50, 40, 30)
	for _, c := range []struct {
		name       string
		cand, othr sheet
		want       string
	}{
		{"in other units", block(10, 99, 10, 51), kelvin, "m introduced 1x 51/50 by 1 x=1000 y=0 [0,1] in [1]"},
		{"beside a code", block(10, 101, 10, 51), coded, "m introduced 1x 101/100 by 1 x=1000 y=0 [0,1] in [0]; unjudged"},
		{"names are shared with nothing", named("m", 40, 90), named("o", 50, 80), "90/50 by 40 [0,1]; (b)"},
		// At 20 Cel and its worst oil the block allows 40 at 0 and 30 at 1000 1/min.
		{"a block below a block", block(10, 10, 10, 31), mixed, "m introduced 1x 31/30 by 1 x=1000 y=0 [0,1] in [1]"},
	} {
		for _, over := range []string{"corners", "boxes"} {
			cand, base := c.cand, c.cand
			base.v = make([]float64, len(cand.v))
			if over == "boxes" {
				cand.points, base.points = straight, straight
			}
			in := judging([]sheet{base, c.othr}, []sheet{cand, c.othr})
			in.Changed = []string{"m"}
			out := judged(t, in, rule(`{"select":{"tables":["m"]},"below":{"table":"o"}}`))
			got := sayJudged(out)
			for _, part := range strings.Split(c.want, "; ") {
				if !strings.Contains(got, part) {
					t.Errorf("%s, by %s:\n got %s\nwant %s", c.name, over, got, c.want)
				}
			}
			for _, f := range out.Findings {
				for q := range f.Worst.Inputs {
					if q != "engine_speed" && q != "oil" && q != "load" {
						t.Errorf("%s, by %s: an input %q", c.name, over, q)
					}
				}
			}
		}
	}
}

// A conversion that falls turns the order: a raw value that sinks beside the point is further out. One that rises does not, and
// of one that does both nothing is known at a glance.
func TestWhichWayPairsGo(t *testing.T) {
	for _, c := range []struct {
		points   *definition.Points
		was, now []float64
		want     string
	}{
		{&definition.Points{Raw: []float64{0, 100}, Physical: []float64{100, 0}}, []float64{50, 90}, []float64{50, 85}, "t worsened 1x 50/20 by 30 x=0 [0,0]"},
		{&definition.Points{Raw: []float64{0, 100}, Physical: []float64{100, 0}}, []float64{50, 90}, []float64{50, 95}, "t inherited 1x 50/20 by 30 x=0 [0,0]"},
		{&definition.Points{Raw: []float64{0, 100}, Physical: []float64{0, 100}}, []float64{50, 9}, []float64{50, 4}, "t inherited 1x 50/20 by 30 x=0 [0,0]"},
		{&definition.Points{Raw: []float64{0, 100}, Physical: []float64{0, 100}}, []float64{50, 4}, []float64{50, 9}, "t worsened 1x 50/20 by 30 x=0 [0,0]"},
		{&definition.Points{Raw: []float64{0, 50, 100}, Physical: []float64{0, 60, 0}}, []float64{50, 90}, []float64{50, 85}, "t worsened 1x 60/20 by 40 x=0 [0,0]"},
	} {
		s := func(v []float64) sheet {
			return sheet{id: "t", quantity: "q", unit: "deg", x: []float64{0, 10}, v: v, points: c.points}
		}
		out := judged(t, judging(one(s(c.was)), one(s(c.now))), rule(`{"envelope":{"side":"max","x":{"quantity":"engine_speed","points":[0]},"values":[[20]]}}`))
		if got := sayAll(out.Findings); got != c.want {
			t.Errorf("%v from %v to %v:\n got %s\nwant %s", c.points, c.was, c.now, got, c.want)
		}
	}
}
