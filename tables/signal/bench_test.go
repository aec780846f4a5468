package signal

import (
	"math/rand/v2"
	"testing"

	"witnessmark/tables/bounded"
	"witnessmark/tables/surface"
)

// fourTables is advance out of two maps of 16 × 12 and curves of 8 over two temperatures.
func fourTables(b testing.TB) *Function {
	d := &dice{Rand: rand.New(rand.NewPCG(1, 1))}
	rising := func(n int, from, to float64) []float64 {
		out := make([]float64, n)
		for i := range out {
			out[i] = from + float64(i)*(to-from)/float64(n-1)
		}
		return out
	}
	some := func(n int) []float64 {
		out := make([]float64, n)
		for i := range out {
			out[i] = float64(d.IntN(100)) / 2
		}
		return out
	}
	for _, id := range []string{"base", "knock"} {
		d.f.table(id, "deg", d.f.axis("engine_speed", "1/min", "", rising(16, 600, 7200)...), d.f.axis("cylinder_filling", "%", "", rising(12, 10, 200)...), "", some(192)...)
	}
	d.f.table("intake", "deg", d.f.axis("intake_temperature", "Cel", "", rising(8, -20, 80)...), "", "", some(8)...)
	d.f.table("coolant", "deg", d.f.axis("coolant_temperature", "Cel", "", rising(8, -20, 120)...), "", "", some(8)...)
	d.f.signal("s", "ignition_advance", "deg", "table('base') + table('intake') + table('coolant') - table('knock')", "")
	_, set := d.f.open(b, engine+"  - {quantity: coolant_temperature, unit: Cel, from: -20, to: 120}\n")
	return signalOf(b, set.In(NewSpace(set.lay)), "s")
}

// someCell is a cell of a space, and the point in its middle.
func someCell(f *Function) (cell Box, p Point) {
	for i, along := range f.space.Cells() {
		cell[i] = along[len(along)/2]
		p[i] = cell[i].Middle()
	}
	return cell, p
}

func BenchmarkAt(b *testing.B) {
	f := fourTables(b)
	cell, p := someCell(f)
	b.ReportAllocs()
	for b.Loop() {
		f.At(&cell, &p)
	}
}

func BenchmarkOver(b *testing.B) {
	f := fourTables(b)
	cell, _ := someCell(f)
	b.ReportAllocs()
	for b.Loop() {
		f.Over(&cell, &cell)
	}
}

// TestNothingIsAllocated: judging makes hundreds of thousands of calls.
func TestNothingIsAllocated(t *testing.T) {
	for seed := range uint64(30) {
		d := random(seed)
		lay, set := d.f.open(t, randomInputs)
		f := signalOf(t, set.In(NewSpace(lay)), "s")
		cell, box := d.boxIn(f.space.Cells())
		var p Point
		var sink bounded.Bounds
		if n := testing.AllocsPerRun(20, func() { sink = f.Over(&cell, &box); f.At(&cell, &p) }); n != 0 {
			t.Errorf("seed %d: %v allocations a call (%v)", seed, n, sink.Inputs)
		}
	}
}

// BenchmarkJudge is four tables against an envelope over speed and filling.
func BenchmarkJudge(b *testing.B) {
	f := fourTables(b)
	x, _ := f.space.Input("engine_speed", "1/min")
	y, _ := f.space.Input("cylinder_filling", "%")
	limit := f.space.Lookup(&surface.Grid{X: []float64{1000, 3000, 6000}, Y: []float64{40, 100, 180}, Values: []float64{98, 90, 92, 92, 96, 98, 90, 94, 97}}, x, y)
	p := &bounded.Problem{Cells: f.space.Cells(), Value: f, Limit: limit, BaseValue: f, BaseLimit: limit, Ceiling: true,
		Step: func(*Box) float64 { return 0.5 }, Tolerance: func(v, l float64) float64 { return 1e-9 * max(v, l) }}
	cells := 1
	for _, along := range p.Cells {
		cells *= len(along)
	}
	boxes := 0
	for b.Loop() {
		boxes = bounded.Judge(p).Boxes
	}
	b.ReportMetric(float64(cells), "cells")
	b.ReportMetric(float64(boxes), "boxes")
}
