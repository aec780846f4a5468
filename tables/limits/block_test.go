package limits

import (
	"fmt"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
)

// slice is one of a block's as a map by itself.
func (s sheet) slice(k int) sheet {
	n := max(len(s.x), 1) * max(len(s.y), 1)
	out := s
	out.beyond, out.v, out.off = nil, s.v[k*n:(k+1)*n], nil
	if s.off != nil {
		out.off = s.off[k*n : (k+1)*n]
	}
	return out
}

// place is where slice k lies along each axis beyond y.
func (s sheet) place(k int) (index []uint32, at []float64) {
	for _, b := range s.beyond {
		index, at = append(index, uint32(k%len(b.points))), append(at, b.points[k%len(b.points)])
		k /= len(b.points)
	}
	return index, at
}

func (s sheet) slices() int {
	n := 1
	for _, b := range s.beyond {
		n *= len(b.points)
	}
	return n
}

// merged is what findings of slices, judged as maps, come to: for each origin the points of all of them, and the worst, of
// equals the first.
func merged(bySlice [][]*calibrationv1.Finding, of sheet) string {
	var out []string
	for _, origin := range []string{"introduced", "worsened", "inherited"} {
		var all *calibrationv1.Finding
		count := uint32(0)
		for k, found := range bySlice {
			for _, f := range found {
				if f.Origin != origin {
					continue
				}
				count += f.Count
				if all == nil || f.Worst.Excess > all.Worst.Excess {
					all = f
					all.Worst.Slice = &calibrationv1.Slice{}
					all.Worst.Slice.Index, _ = of.place(k)
				}
			}
		}
		if all != nil {
			all.Count = count
			out = append(out, say(all))
		}
	}
	return strings.Join(out, "; ")
}

// drawBlock draws a block and its base: the same axes, and cells of which some differ. Of some both sides hold codes.
func drawBlock(t *rapid.T) (base, cand sheet) {
	cand = modelMap(t, "axes", rapid.Bool().Draw(t, "falling"), rapid.IntRange(1, 4).Draw(t, "nx"), rapid.IntRange(1, 3).Draw(t, "ny"))
	cand.beyond = []deep{{what: "gear 1", points: []float64{1, 2, 4}[:rapid.IntRange(1, 3).Draw(t, "gears")], index: rapid.Bool().Draw(t, "index")}}
	if rapid.Bool().Draw(t, "four axes") {
		cand.beyond = append(cand.beyond, deep{what: "air Cel", points: []float64{-8, 0, 16}[:rapid.IntRange(1, 3).Draw(t, "airs")]})
	}
	base = cand
	n := len(cand.x) * len(cand.y) * cand.slices()
	cand.v, base.v = wholes(t, "cand", n), wholes(t, "base", n)
	for i := range base.v {
		if rapid.Bool().Draw(t, "same") {
			base.v[i] = cand.v[i]
		}
	}
	return base, cand
}

// Each kind of rule says of a block what it says of its slices, each judged as a map by itself under the rule as it is there.
func TestBlocksAreTheirSlices(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		base, cand := drawBlock(t)
		in := drawZone(t)
		hi, far := rapid.IntRange(-4, 6).Draw(t, "hi"), rapid.IntRange(0, 5).Draw(t, "far")
		other := modelMap(t, "other", false, 2, 2)
		other.id, other.beyond = "o", []deep{{what: "gear 1", points: []float64{1, 2, 4}}, {what: "oil Cel", points: []float64{0, 8}}}
		other.v = wholes(t, "other", 24)
		env := func(gear float64) float64 { return float64(hi) + gear } // at the points 1, 2 and 4, straight between them
		onlyGear := map[bool]string{true: `"gear":{"from":1.5,"to":4,"unit":"1"}`}[rapid.Bool().Draw(t, "where gear")]
		where := strings.TrimSuffix(in.text(), "}")
		if onlyGear != "" && (in.x != nil || in.y != nil) {
			where += ","
		}
		where += onlyGear + "}"
		inside := func(at []float64) bool { return onlyGear == "" || at[0] >= 1.5 }
		for _, c := range []struct {
			name, block string
			of          func(at []float64) string // the rule on a slice
			others      func(at []float64) []sheet
		}{
			{"range", fmt.Sprintf(`{"range":{"max":%d,"min":-6},%s}`, hi, where), nil, nil},
			{"change", fmt.Sprintf(`{"change":{"max_up":%d,"max_down":2},%s}`, far, where), nil, nil},
			{"slope", fmt.Sprintf(`{"slope":{"along":"y","max":%d},%s}`, far, where), nil, nil},
			{"lump", fmt.Sprintf(`{"lump":{"max":%d},%s}`, far, where), nil, nil},
			{"monotonic", fmt.Sprintf(`{"monotonic":{"of":"values","along":"x","rising":true},%s}`, where), nil, nil},
			{"envelope", fmt.Sprintf(`{"envelope":{"side":"max","x":{"quantity":"gear","points":[1,2,4]},"y":{"quantity":"load","points":[-2,3]},"values":[[%g,%g,%g],[%g,%g,%g]]},%s}`,
				env(1), env(2), env(4), env(1)-5, env(2)-5, env(4)-5, where),
				func(at []float64) string {
					return fmt.Sprintf(`{"envelope":{"side":"max","x":{"quantity":"load","points":[-2,3]},"values":[[%g,%g]]},%s}`, env(at[0]), env(at[0])-5, in.text())
				}, nil},
			{"below", `{"select":{"tables":["m"]},"below":{"table":"o","margin":1},` + where + `}`, nil,
				func(at []float64) []sheet { // at this gear, the oil at its worst: the lesser of two maps at each point
					g := slices.Index([]float64{1, 2, 4}, at[0])
					a, b := other.slice(g), other.slice(g+3)
					a.id, b.id = "a", "b"
					return []sheet{a, b}
				}},
		} {
			full := judging([]sheet{base, other}, []sheet{cand, other})
			full.Changed = []string{"m"}
			if len(cand.beyond) == 1 && cand.beyond[0].index && c.name == "envelope" && len(cand.beyond[0].points) < 1 {
				continue
			}
			out := judged(t, full, rule(c.block))
			var parts [][]*calibrationv1.Finding
			for k := range cand.slices() {
				_, at := cand.place(k)
				if !inside(at) {
					parts = append(parts, nil)
					continue
				}
				text := strings.Replace(c.block, where, in.text(), 1)
				if c.of != nil {
					text = c.of(at)
				}
				if c.others == nil {
					parts = append(parts, judged(t, judging(one(base.slice(k)), one(cand.slice(k))), rule(text)).Findings)
					continue
				}
				var ops []judgement
				both := c.others(at)
				cs, bs := cand.slice(k), base.slice(k)
				if len(ops) == 0 {
					ops = pointOps(cs, both[0], bs, in, func(x, y float64) []judgement {
						limit := min(both[0].surface(x, y), both[1].surface(x, y)) - 1
						return []judgement{{value: cs.surface(x, y), limit: limit, over: cs.surface(x, y) - limit, baseOver: bs.surface(x, y) - limit}}
					})
				}
				parts = append(parts, modelled("m", ops))
			}
			if got, want := sayAll(out.Findings), merged(parts, cand); got != want {
				t.Fatalf("%s: %s\nbase %v\ncand %v\nother %v\n got %s\nwant %s", c.name, c.block, base, cand, other, got, want)
			}
		}
	})
}

// modelled are modelFindings as findings.
func modelled(id string, ops []judgement) (out []*calibrationv1.Finding) {
	text := modelFindings(id, ops)
	if text == "" {
		return nil
	}
	for _, line := range strings.Split(text, "; ") {
		f := &calibrationv1.Finding{Table: id, Worst: &calibrationv1.Worst{}}
		var value, limit, x, y float64
		var row, col uint32
		if n, _ := fmt.Sscanf(line, id+" %s %dx %g/%g by %g x=%g y=%g [%d,%d]", &f.Origin, &f.Count, &value, &limit, &f.Worst.Excess, &x, &y, &row, &col); n < 7 {
			panic(line)
		} else if n == 9 {
			f.Worst.Row, f.Worst.Column = &row, &col
		}
		f.Worst.Value, f.Worst.Limit, f.Worst.X, f.Worst.Y = &value, &limit, &x, &y
		out = append(out, f)
	}
	return out
}
