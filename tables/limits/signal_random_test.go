package limits

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
)

// chain is a rig of the road from a meter's voltage to the advance at the plug, drawn at random, with an evaluator of this
// test's own.
type chain struct {
	*rig
	rng    *rand.Rand
	points map[string][]float64 // of the axes
}

func list(v []float64) string {
	return strings.Trim(strings.Join(strings.Fields(fmt.Sprint(v)), ", "), "[]")
}

func drawChain(rng *rand.Rand) *chain {
	c := &chain{&rig{}, rng, map[string][]float64{}}
	axis := func(name string, from, to float64, n int) string {
		at := []float64{}
		for i := range n {
			at = append(at, math.Round(from+(to-from)*(float64(i)+0.8*rng.Float64())/float64(n)))
		}
		c.points[name] = at
		return list(at)
	}
	c.table("meter", "quantity: air_flow, unit: kg/h", []string{"voltage V: " + axis("voltage", 0, 50, 4)}, c.cells(4, 100, 900)...)
	c.table("base", "quantity: advance, unit: deg", []string{"engine_speed 1/min: " + axis("engine_speed", 1000, 7000, 4), "filling %: " + axis("filling", 0, 150, 3)}, c.cells(12, 5, 40)...)
	c.table("cold", "quantity: advance, unit: deg", []string{"air Cel: " + axis("air", -20, 80, 3)}, c.cells(3, -8, 4)...)
	c.signal("filling.model", "quantity: filling, unit: '%', feeds: true", "table('meter') * 300.0 / input('engine_speed')")
	c.signal("plug", "quantity: advance, unit: deg, step: 0.5", "max(table('base') + table('cold'), 2.0)")
	c.input("engine_speed", "1/min", 800, 7200, "")
	c.input("air", "Cel", -30, 90, "")
	c.input("voltage", "V", 0, 50, "")
	return c
}

func (c *chain) cells(n int, from, to float64) []float64 {
	out := make([]float64, n)
	for i := range out {
		out[i] = math.Round(from + (to-from)*c.rng.Float64())
	}
	return out
}

// eval is the filling and the advance that an image gives at an operating point.
func (c *chain) eval(tables map[string][]float64, speed, air, voltage float64) (filling, plug float64) {
	get := func(id string) []float64 {
		if v := tables[id]; v != nil {
			return v
		}
		return c.rig.cells[id]
	}
	none := []float64{0}
	filling = weigh(c.points["voltage"], none, get("meter"), voltage, 0) * 300 / speed
	plug = weigh(c.points["engine_speed"], c.points["filling"], get("base"), speed, filling) + weigh(c.points["air"], none, get("cold"), air, 0)
	return filling, math.Max(plug, 2)
}

// withWhere confines a rule.
func withWhere(r *calibrationv1.Rule, text string) *calibrationv1.Rule {
	r.Where = rule(`{"frozen":{},"where":{` + text + `}}`).Where
	return r
}

// No operating point that this test draws lies further beyond the envelope than what was found, none newly does so unseen, and the
// worst that was found is what the test's own evaluator has there.
func TestSignalsAreNeverBeatenBySampling(t *testing.T) {
	seed := rand.Uint64()
	t.Logf("seed %d", seed)
	const half = 0.25
	for round := range 8 {
		c := drawChain(rand.New(rand.NewPCG(seed, uint64(round))))
		cand := map[string][]float64{}
		for id, cells := range c.rig.cells {
			if c.rng.IntN(2) == 0 {
				cand[id] = append([]float64{}, cells...)
				cand[id][c.rng.IntN(len(cells))] *= 0.7 + 0.6*c.rng.Float64()
			}
		}
		ex, ey, ev := []float64{1500, 5000}, []float64{30, 120}, c.cells(4, 20, 45)
		r := onPlug(fmt.Sprintf(`"envelope":{"side":"max","unit":"deg","x":{"quantity":"engine_speed","unit":"1/min","points":[1500,5000]},"y":{"quantity":"filling","unit":"%%","points":[30,120]},"values":[[%g,%g],[%g,%g]]}`, ev[0], ev[1], ev[2], ev[3]), "")
		from := map[string]float64{} // where the rule holds
		if c.rng.IntN(2) == 0 {
			from["filling"], from["engine_speed"] = 100*c.rng.Float64(), 800+3000*c.rng.Float64()
			r = withWhere(r, fmt.Sprintf(`"filling":{"from":%g,"unit":"%%"},"engine_speed":{"from":%g,"unit":"1/min"}`, from["filling"], from["engine_speed"]))
		}
		out := checked(t, c.judging(t, cand), r)
		over := func(speed, air, voltage float64) (now, was float64) {
			filling, before := c.eval(nil, speed, air, voltage) // the limit goes by the base's
			_, after := c.eval(cand, speed, air, voltage)
			if filling < from["filling"]-1e-9 || speed < from["engine_speed"] {
				return -1e300, -1e300
			}
			limit := weigh(ex, ey, ev, speed, filling)
			return after - limit, before - limit
		}
		counted, worst, bound := -1.0, -1.0, -1.0
		for _, f := range out.Findings {
			if f.Rule == "undecided" {
				t.Logf("round %d: %s", round, f.Detail)
				bound = max(bound, f.Worst.GetBound())
				counted = max(counted, f.Worst.GetBound())
				continue
			}
			w := f.Worst
			if now, _ := over(w.Inputs["engine_speed"], w.Inputs["air"], w.Inputs["voltage"]); math.Abs(now-w.Excess) > 1e-9 {
				t.Fatalf("round %d: %v is no real point: %v by the test's own reckoning", round, f, now)
			}
			bound, worst = max(bound, w.GetBound()), max(worst, w.Excess)
			if f.Origin != "inherited" {
				counted = max(counted, w.Excess)
			}
		}
		if len(out.Margins) == 0 {
			if len(cand) > 0 && len(out.Passed) == 0 {
				t.Fatalf("round %d: nothing was judged, and nothing says so: %v", round, out)
			}
			continue
		}
		if room := -out.Margins[0].Margin; worst > 0 && room < worst {
			t.Fatalf("round %d: the margin %v is not the worst of %v", round, room, out.Findings)
		}
		for range 2000 {
			speed, air, voltage := 800+6400*c.rng.Float64(), -30+120*c.rng.Float64(), 50*c.rng.Float64()
			now, was := over(speed, air, voltage)
			switch {
			case now > max(bound, half)+1e-9, now > -out.Margins[0].Margin+half+1e-9:
				t.Fatalf("round %d: %v beyond at %v, %v, %v; found %v", round, now, speed, air, voltage, out.Findings)
			case now > half && was <= 0 && counted < 0:
				t.Fatalf("round %d: newly %v beyond at %v, %v, %v, and nothing counts: %v", round, now, speed, air, voltage, out.Findings)
			}
		}
	}
}
