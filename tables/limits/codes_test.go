package limits

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"witnessmark/tables/definition"
)

// touches says whether a point is interpolated from a cell of the sheet that is no value: from one of up to four that have a share.
func (s sheet) touches(px, py float64) bool {
	near := func(axis []float64, i int, p float64) bool {
		lo, hi := axis[0], axis[len(axis)-1]
		p = math.Min(math.Max(p, math.Min(lo, hi)), math.Max(lo, hi))
		for _, n := range []int{i - 1, i + 1} {
			if n >= 0 && n < len(axis) && (p-axis[i])*(p-axis[n]) < 0 {
				return true
			}
		}
		return p == axis[i]
	}
	for row := range s.y {
		for col := range s.x {
			if s.off != nil && s.off[row*len(s.x)+col] && near(s.x, col, px) && near(s.y, row, py) {
				return true
			}
		}
	}
	return false
}

// withZeros has a number where the codes are, for the model to reckon with: whoever asks has looked at touches.
func (s sheet) withZeros() sheet {
	out := s
	out.v, out.off = append([]float64{}, s.v...), nil
	for i, off := range s.off {
		if off {
			out.v[i] = 0
		}
	}
	return out
}

func drawCodes(t *rapid.T, name string, n int) []bool {
	out, any := make([]bool, n), false
	for i := range out {
		out[i] = rapid.IntRange(0, 4).Draw(t, name) == 0
		any = any || out[i]
	}
	if !any {
		return nil
	}
	return out
}

// Cell rules pass over codes, surface rules over the patches that touch one, and say of how many; the base says nothing where
// it held one.
func TestCodesMatchTheModel(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		base, cand := modelPair(t)
		cand.off, base.off = drawCodes(t, "code", len(cand.v)), drawCodes(t, "base code", len(cand.v))
		other := modelMap(t, "other", false, rapid.IntRange(1, 3).Draw(t, "ox"), rapid.IntRange(1, 3).Draw(t, "oy"))
		other.id, other.off = "o", drawCodes(t, "other code", len(other.x)*len(other.y))
		in := drawZone(t)
		c, b, o := cand.withZeros(), base.withZeros(), other.withZeros()
		is := func(s sheet, r, col int) bool { return s.off != nil && s.off[r*len(s.x)+col] }
		compare := func(text string, surface bool, ops []judgement) {
			input := judging([]sheet{base, other}, []sheet{cand, other})
			input.Changed = []string{"m"}
			out := judged(t, input, rule(text))
			if got, want := sayAll(out.Findings), modelFindings("m", ops); got != want {
				t.Fatalf("%s\nbase %v\ncand %v\nother %v\n got %s\nwant %s", text, base, cand, other, got, want)
			}
			if !slices.Contains(cand.off, false) && cand.off != nil {
				if len(out.Passed) != 1 || !strings.Contains(out.Passed[0].Reason, "all of its cells") {
					t.Fatalf("%s: nothing is a value: %v", text, out.Passed)
				}
				return
			}
			said := ""
			for _, u := range out.Unjudged {
				said += u.Reason
			}
			touched := 0 // by patches, each looked at in its middle
			for r := range max(len(cand.y)-1, 1) {
				for col := range max(len(cand.x)-1, 1) {
					if cand.touches((cand.x[col]+cand.x[min(col+1, len(cand.x)-1)])/2, (cand.y[r]+cand.y[min(r+1, len(cand.y)-1)])/2) {
						touched++
					}
				}
			}
			if want := fmt.Sprintf("no value: %d", touched); surface && touched > 0 != strings.Contains(said, "its stretches") || touched > 0 && surface && !strings.Contains(said, want) || !surface && said != "" {
				t.Fatalf("%s: said %q of %d patches\ncand %v", text, said, touched, cand)
			}
		}
		compare(`{"select":{"tables":["m"]},"range":{"max":3,"min":-4}}`, false, cellOps(c, func(r, col int) []judgement {
			if is(cand, r, col) {
				return nil
			}
			v, was := c.at(r, col), b.at(r, col)
			if is(base, r, col) {
				was = 0 // inside both
			}
			return []judgement{{value: v, limit: 3, over: v - 3, baseOver: was - 3}, {value: v, limit: -4, over: -4 - v, baseOver: -4 - was}}
		}))
		compare(`{"select":{"tables":["m"]},"change":{"max_up":2,"max_down":1}}`, false, cellOps(c, func(r, col int) []judgement {
			if is(cand, r, col) || is(base, r, col) {
				return nil
			}
			v, was := c.at(r, col), b.at(r, col)
			return []judgement{{value: v, limit: was + 2, over: v - was - 2, baseOver: -1}, {value: v, limit: was - 1, over: was - 1 - v, baseOver: -1}}
		}))
		compare(`{"select":{"tables":["m"]},"slope":{"along":"x","max":1}}`, false, cellOps(c, func(r, col int) []judgement {
			if col+1 >= len(c.x) || is(cand, r, col) || is(cand, r, col+1) {
				return nil
			}
			steep := func(s sheet) float64 { return math.Abs((s.at(r, col+1) - s.at(r, col)) / (s.x[col+1] - s.x[col])) }
			v, was := steep(c), steep(b)-1
			if is(base, r, col) || is(base, r, col+1) {
				was = -1
			}
			return []judgement{{value: v, limit: 1, over: v - 1, baseOver: was}}
		}))
		compare(`{"select":{"tables":["m"]},"below":{"table":"o","margin":1},`+in.text()+`}`, true, pointOps(c, o, b, in, func(x, y float64) []judgement {
			if cand.touches(x, y) || other.touches(x, y) {
				return nil
			}
			v, limit := c.surface(x, y), o.surface(x, y)-1
			was := b.surface(x, y) - limit
			if base.touches(x, y) {
				was = -math.MaxFloat64
			}
			j := judgement{value: v, limit: limit, over: v - limit, baseOver: was}
			return []judgement{j}
		}))
	})
}

// Worked by hand: 5, a code, 9, 30; the ceiling is 8. Of the three stretches two touch the code.
func TestACodeByHand(t *testing.T) {
	s := sheet{id: "t", quantity: "q", unit: "deg", x: []float64{0, 1, 2, 3}, v: []float64{5, 255, 9, 30}, off: []bool{false, true, false, false}}
	for _, c := range []struct{ rule, found, unjudged string }{
		{`{"range":{"max":8}}`, "t  2x 30/8 by 22 x=3 [0,3]", ""},
		{`{"envelope":{"side":"max","x":{"quantity":"engine_speed","points":[0]},"values":[[8]]}}`, "t  2x 30/8 by 22 x=3 [0,3]", "passed over its stretches between breakpoints that touch a cell which is no value: 2"},
		{`{"lump":{"max":1}}`, "", ""},
		{`{"slope":{"along":"x","max":20}}`, "t  1x 21/20 by 1 x=2 [0,2]", ""},
		{`{"expression":"table('t').max() == 30.0 && table('t').min() == 5.0"}`, "", ""},
		{`{"expression":"table('t').at(2.5) == 19.5"}`, "", ""},
		{`{"expression":"table('t').at(1.5) < 100.0"}`, "", "table t holds a code there that is no value"},
	} {
		out := judged(t, judging(nil, one(s)), rule(c.rule))
		why := ""
		for _, u := range out.Unjudged {
			why += u.Reason
		}
		if got := sayAll(out.Findings); got != c.found || why != c.unjudged {
			t.Errorf("%s\n got %s; %s\nwant %s; %s", c.rule, got, why, c.found, c.unjudged)
		}
	}
	s.x, s.v, s.off = nil, []float64{255}, []bool{true}
	out := judged(t, judging(nil, one(s)), rule(`{"range":{"max":8}}`))
	if len(out.Findings) != 0 || len(out.Passed) != 1 || len(out.JudgedBy) != 0 {
		t.Errorf("a scalar that is off: %v, passed over %v", out.Findings, out.Passed)
	}
}

// A conversion that is not affine is judged over boxes: those in a patch that touches a code are left out, and where the base
// had one, what fails is new.
func TestCodesOverBoxes(t *testing.T) {
	s := func(off []bool, raw ...float64) sheet {
		return sheet{id: "t", quantity: "q", unit: "deg", x: []float64{0, 1, 2, 3}, v: raw, points: &definition.Points{Raw: []float64{0, 100}, Physical: []float64{0, 50}}, off: off}
	}
	const under = `{"envelope":{"side":"max","x":{"quantity":"engine_speed","points":[0]},"values":[[20]]}}`
	codes := []bool{true, false, false, false}
	out := judged(t, judging(one(s(nil, 0, 0, 60, 60)), one(s(codes, 255, 0, 60, 60))), rule(under))
	if got := sayAll(out.Findings); got != "t inherited 2x 30/20 by 10 x=2 [0,2]" || len(out.Unjudged) != 1 || !strings.Contains(out.Unjudged[0].Reason, "no value: 1") {
		t.Errorf("a code in the candidate: %s; %v", got, out.Unjudged)
	}
	out = judged(t, judging(one(s([]bool{false, false, false, true}, 0, 0, 60, 255)), one(s(nil, 0, 0, 60, 60))), rule(under))
	if got := sayAll(out.Findings); got != "t introduced 1x 30/20 by 10 x=2 [0,2]; t inherited 1x 30/20 by 10 x=2 [0,2]" {
		t.Errorf("a code in the base: %s", got)
	}
}
