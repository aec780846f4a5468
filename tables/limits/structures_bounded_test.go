package limits

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"witnessmark/tables/definition"
)

// byPairs is a conversion of the test's own: a search from the front, and the line's equation.
func byPairs(p *definition.Points, raw float64) float64 {
	last := len(p.Raw) - 1
	switch {
	case raw < p.Raw[0]:
		if p.Outside != nil {
			return *p.Outside
		}
		return p.Physical[0]
	case raw > p.Raw[last]:
		if p.Outside != nil {
			return *p.Outside
		}
		return p.Physical[last]
	}
	for i := range last {
		if raw < p.Raw[i+1] {
			if p.Step {
				return p.Physical[i]
			}
			return p.Physical[i] + (p.Physical[i+1]-p.Physical[i])*(raw-p.Raw[i])/(p.Raw[i+1]-p.Raw[i])
		}
	}
	return p.Physical[last]
}

// No point of a table that is converted by pairs lies further beyond its ceiling than what was found, and what was found is there.
func TestPairsAreNeverBeatenBySampling(t *testing.T) {
	seed := rand.Uint64()
	t.Logf("seed %d", seed)
	rng := rand.New(rand.NewPCG(seed, 1))
	found, straight := 0, 0
	for round := range 120 {
		p := &definition.Points{Step: rng.IntN(2) == 0}
		for raw := 20.0 * rng.Float64(); len(p.Raw) < 2+rng.IntN(4); raw += 5 + 80*rng.Float64() {
			p.Raw, p.Physical = append(p.Raw, math.Round(raw)), append(p.Physical, math.Round(100*rng.Float64()))
		}
		if len(p.Raw) < 2 {
			p.Raw, p.Physical = []float64{0, 100}, []float64{0, 50}
		}
		if rng.IntN(3) == 0 {
			out := 45.0
			p.Outside = &out
		}
		s := func() sheet {
			raw := make([]float64, 9)
			for i := range raw {
				raw[i] = float64(rng.IntN(256))
			}
			return sheet{id: "t", quantity: "q", unit: "deg", x: []float64{0, 10, 30}, y: []float64{0, 1, 2}, v: raw, points: p}
		}
		base, cand := s(), s()
		limit := []float64{30 + 60*rng.Float64(), 30 + 60*rng.Float64()}
		out := judged(t, judging(one(base), one(cand)), rule(fmt.Sprintf(`{"envelope":{"side":"max","x":{"quantity":"engine_speed","points":[5,25]},"values":[[%g,%g]]}}`, limit[0], limit[1])))
		over := func(s sheet, x, y float64) float64 {
			return byPairs(p, weigh(s.x, s.y, s.v, x, y)) - (limit[0] + (limit[1]-limit[0])*math.Min(math.Max((x-5)/20, 0), 1))
		}
		worst, bound := 0.0, 0.0
		for _, f := range out.Findings {
			bound = max(bound, f.Worst.GetBound())
			if f.Rule != "r" {
				continue
			}
			found++
			worst = max(worst, f.Worst.Excess)
			// A step may lie within rounding of the point: then what lies just beside it will do.
			real := false
			for _, d := range []float64{0, -1e-9, 1e-9} {
				real = real || math.Abs(over(cand, f.Worst.GetX()+d, f.Worst.GetY()+d)-f.Worst.Excess) < 1e-6
			}
			if !real {
				t.Fatalf("seed %d, round %d: %v is no real point: %v there\n%v %v", seed, round, f, over(cand, f.Worst.GetX(), f.Worst.GetY()), p, cand)
			}
		}
		half := 0.0
		if !p.Step {
			for i := 1; i < len(p.Raw); i++ {
				half = max(half, math.Abs(p.Physical[i]-p.Physical[i-1])/(p.Raw[i]-p.Raw[i-1])/2)
			}
			straight++
		}
		for range 3000 {
			x, y := 30*rng.Float64(), 2*rng.Float64()
			if now := over(cand, x, y); now > max(bound, worst)+half+1e-6 {
				t.Fatalf("seed %d, round %d: %v beyond at %v, %v, and found %v\n%v\n%v", seed, round, now, x, y, out.Findings, p, cand)
			}
		}
	}
	if found < 50 || straight < 20 {
		t.Errorf("%d findings, %d conversions by lines: too few to say anything", found, straight)
	}
}

const fed = `name: fed
byte_order: big
image: {size: 0x100}
tables:
  - {id: base, quantity: advance, unit: deg, stored: {address: 0x00, type: u8, not_a_value: [255]}, x: {quantity: engine_speed, unit: 1/min, points: [1000, 2000, 4000]}}
  - {id: grade, quantity: grade, unit: "1", stored: {address: 0x03, type: u8}}
  - {id: block, quantity: advance, unit: deg, stored: {address: 0x10, type: u8}, axes: [{quantity: engine_speed, unit: 1/min, points: [1000, 3000]}, {quantity: load, unit: "%", points: [0, 100]}, {quantity: air, unit: Cel, points: [0, 50]}]}
  - {id: index.rpm, quantity: place, unit: "1", stored: {address: 0x20, type: u8}, x: {quantity: engine_speed, unit: 1/min, points: [1000, 3000]}}
  - {id: through, quantity: advance, unit: deg, stored: {address: 0x24, type: u8}, x: {stored: {address: 0x22, type: u8, count: 2}, by: {curve: index.rpm}}}
  - {id: pairs, quantity: temp, unit: Cel, stored: {address: 0x28, type: u8}, conversion: {points: {raw: [0, 100, 200], physical: [-40, 60, 40]}}, x: {quantity: engine_speed, unit: 1/min, points: [1000, 3000]}}
signals:
  - {id: plug, quantity: advance, unit: deg, step: 0.5, value: "table('grade') == 1.0 ? table('base') : 7.0"}
  - {id: deep, quantity: advance, unit: deg, step: 0.5, value: "table('block')"}
  - {id: curve, quantity: advance, unit: deg, step: 0.5, value: "table('through')"}
  - {id: warm, quantity: temp, unit: Cel, step: 0.5, value: "table('pairs')"}
inputs:
  - {quantity: engine_speed, unit: 1/min, from: 1000, to: 5000}
  - {quantity: load, unit: "%", from: 0, to: 100}
  - {quantity: air, unit: Cel, from: 0, to: 50}
`

func fedImage(at map[int][]byte) []byte {
	image := make([]byte, 0x100)
	for at, b := range map[int][]byte{0: {10, 255, 20, 1}, 0x10: {1, 2, 3, 4, 5, 6, 7, 8}, 0x20: {0, 10, 2, 8, 5, 15}, 0x28: {0, 200}} {
		copy(image[at:], b)
	}
	for at, b := range at {
		copy(image[at:], b)
	}
	return image
}

// Worked by hand from the bytes. A signal is passed over where it looks up a code, and what the base had no value for is new.
func TestSignalsOfStructuresByHand(t *testing.T) {
	for _, c := range []struct {
		name, signal, table string
		was, now            map[int][]byte
		rule, want          string
	}{
		{"beside a code", "plug", "base", nil, map[int][]byte{0: {90}}, `"range":{"unit":"deg","max":50}`, "unjudged plug: passed over where it looks up a cell that is no value: 1 of table base"},
		{"beyond a code", "plug", "base", nil, map[int][]byte{2: {90}}, `"range":{"unit":"deg","max":50}`, "plug introduced 1x 90/50 by 40 engine_speed=4000; unjudged plug: passed over where it looks up a cell that is no value: 1 of table base"},
		// The base has 10 at 1000, a code from there to 4000, and 20 from there on.
		{"the branch not taken has codes", "plug", "grade", map[int][]byte{3: {1}}, map[int][]byte{3: {2}}, `"range":{"unit":"deg","max":5}`, "plug introduced 2x 7/5 by 2 engine_speed=2000; plug inherited 3x 7/5 by 2 engine_speed=1000"},
		// 90 at 4000 itself stood in the base; before it nothing did.
		{"the base had a code", "plug", "base", map[int][]byte{2: {90}}, map[int][]byte{1: {80, 90}}, `"range":{"unit":"deg","max":50}`, "plug introduced 2x 80/50 by 30 engine_speed=2000; plug inherited 2x 90/50 by 40 engine_speed=4000"},
		{"a change beside a code", "plug", "base", nil, map[int][]byte{2: {30}}, `"change":{"unit":"deg","max_up":5}`, "plug introduced 1x 30/25 by 5 engine_speed=4000; unjudged plug: passed over where it looks up a cell that is no value: 1 of table base"},
		// At 3000, 100 %, 50 Cel the last cell: it was 8. One cell of the inputs below 3000 and one above.
		{"a block", "deep", "block", nil, map[int][]byte{0x17: {30}}, `"range":{"unit":"deg","max":20}`, "deep introduced 2x 30/20 by 10 engine_speed=3000"},
		// The curve gives 0 at 1000, 10 from 3000 on: it passes 8 at 2600, from where on the last value is held.
		{"through a curve", "curve", "through", nil, map[int][]byte{0x25: {30}}, `"range":{"unit":"deg","max":29}`, "curve introduced 2x 30/29 by 1"},
		// Raw 0 at 1000, 200 at 3000: 100 at 2000, which is 60.
		{"by pairs, between the cells", "warm", "pairs", map[int][]byte{0x28: {200}}, nil, `"range":{"unit":"Cel","max":50}`, "warm introduced 1x 60/50 by 10 engine_speed=2000"},
	} {
		lay, err := definition.Load("fed.yaml", []byte(fed))
		if err != nil {
			t.Fatal(err)
		}
		in := JudgeInput{Layout: lay, Changed: []string{c.table}, Base: reader(lay, fedImage(c.was)), Candidate: reader(lay, fedImage(c.now))}
		got := sayPoints(checked(t, in, rule(fmt.Sprintf(`{"select":{"signals":["%s"]},%s}`, c.signal, c.rule))))
		if strings.Contains(got, "unjudged") != strings.Contains(c.want, "unjudged") || !strings.HasPrefix(got, c.want) {
			t.Errorf("%s:\n got %s\nwant %s", c.name, got, c.want)
		}
	}
}
