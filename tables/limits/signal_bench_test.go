package limits

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
)

// even are n points from end to end.
func even(from, to float64, n int) []float64 {
	out := make([]float64, n)
	for i := range out {
		out[i] = from + (to-from)*float64(i)/float64(n-1)
	}
	return out
}

// sumRig is four tables added up: two maps of 16 by 12 over two inputs, and two curves of 8 over one more each.
func sumRig(rng *rand.Rand) *rig {
	r := &rig{}
	cells := func(n int, from, to float64) []float64 {
		out := make([]float64, n)
		for i := range out {
			out[i] = from + (to-from)*rng.Float64()
		}
		return out
	}
	speed, filling := "engine_speed 1/min: "+list(even(800, 7000, 16)), "filling %: "+list(even(20, 180, 12))
	r.table("base", "quantity: advance, unit: deg", []string{speed, filling}, cells(192, 5, 30)...)
	r.table("trim", "quantity: advance, unit: deg", []string{speed, filling}, cells(192, -3, 3)...)
	r.table("cold", "quantity: advance, unit: deg", []string{"air Cel: " + list(even(-20, 80, 8))}, cells(8, -8, 4)...)
	r.table("coolant", "quantity: advance, unit: deg", []string{"coolant Cel: " + list(even(-20, 120, 8))}, cells(8, -8, 4)...)
	r.signal("plug", "quantity: advance, unit: deg, step: 0.5", "table('base') + table('trim') + table('cold') + table('coolant')")
	r.input("engine_speed", "1/min", 800, 7000, "")
	r.input("filling", "%", 20, 180, "")
	r.input("air", "Cel", -20, 80, "")
	r.input("coolant", "Cel", -20, 120, "")
	return r
}

// chainRig looks a map up at what another table gives over two inputs, and adds a correction: 21,000 cells.
func chainRig(rng *rand.Rand) *rig {
	r := &rig{}
	cells := func(n int, from, to float64) []float64 {
		out := make([]float64, n)
		for i := range out {
			out[i] = from + (to-from)*float64(i)/float64(n) + rng.Float64()
		}
		return out
	}
	r.table("meter", "quantity: air_flow, unit: kg/h", []string{"voltage V: " + list(even(0, 50, 64))}, cells(64, 20, 900)...)
	r.table("base", "quantity: advance, unit: deg", []string{"engine_speed 1/min: " + list(even(800, 7000, 24)), "filling %: " + list(even(0, 180, 12))}, cells(288, 30, 8)...)
	r.table("cold", "quantity: advance, unit: deg", []string{"air Cel: " + list(even(-20, 80, 16))}, cells(16, 3, -8)...)
	r.signal("filling.model", "quantity: filling, unit: '%', feeds: true", "table('meter') * 300.0 / input('engine_speed')")
	r.signal("plug", "quantity: advance, unit: deg, step: 0.5", "table('base') + table('cold')")
	r.input("engine_speed", "1/min", 800, 7000, "")
	r.input("voltage", "V", 0, 50, "")
	r.input("air", "Cel", -20, 80, "")
	return r
}

// A signal and an envelope of speed and filling: what judging costs, and how many boxes are looked at.
func BenchmarkSignal(b *testing.B) {
	for _, c := range []struct {
		name           string
		rig            *rig
		limit          float64
		moved          string
		speed, filling []float64 // of the envelope
	}{
		{"sum of four, 12740 cells", sumRig(rand.New(rand.NewPCG(1, 2))), 36, "base", even(1000, 6500, 6), even(30, 170, 4)},
		{"through another, 23625 cells", chainRig(rand.New(rand.NewPCG(3, 4))), 34, "meter", []float64{800, 2000, 4000, 7000}, []float64{20, 100, 180}},
	} {
		var rows []string
		for i := range c.filling {
			var row []float64
			for k := range c.speed {
				row = append(row, c.limit+float64(k)-0.5*float64(i))
			}
			rows = append(rows, "["+list(row)+"]")
		}
		r := onPlug(fmt.Sprintf(`"envelope":{"side":"max","unit":"deg","x":{"quantity":"engine_speed","unit":"1/min","points":[%s]},"y":{"quantity":"filling","unit":"%%","points":[%s]},"values":[%s]}`,
			list(c.speed), list(c.filling), strings.Join(rows, ",")), "")
		cells := slices.Clone(c.rig.cells[c.moved])
		cells[len(cells)/2] *= 1.1
		in := c.rig.judging(b, map[string][]float64{c.moved: cells})
		if out := checked(b, in, r); len(out.JudgedBy["plug"]) == 0 {
			b.Fatal(sayPoints(out))
		}
		b.Run(c.name, func(b *testing.B) {
			var out *Judged
			for b.Loop() {
				out = judged(b, in, r)
			}
			b.ReportMetric(float64(out.boxes), "boxes")
		})
	}
}
