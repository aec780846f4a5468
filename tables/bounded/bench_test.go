package bounded

import (
	"fmt"
	"math"
	"testing"
)

// even is n breakpoints.
func even(n int, from, to float64) []float64 {
	xs := make([]float64, n)
	for i := range xs {
		xs[i] = from + float64((to-from)*float64(i))/float64(n-1)
	}
	return xs
}

// hill is a table like one of an engine: it rises, and bends over.
func hill(x, y int, xs, ys []float64, height float64) plane {
	m := plane{x: x, y: y, xs: xs, ys: ys}
	for j := range ys {
		row := make([]float64, len(xs))
		for i := range xs {
			u, v := float64(i)/float64(len(xs)-1), float64(j)/float64(len(ys)-1)
			row[i] = math.Round(4*height*(u*(1.6-u)+v*(1.2-v)*(1-0.5*u))) / 4
		}
		m.z = append(m.z, row)
	}
	return m
}

func slope(on int, xs []float64, from, to float64) line {
	l := line{on: on, xs: xs}
	for i := range xs {
		l.ys = append(l.ys, math.Round(4*(from+(to-from)*float64(i*i)/float64((len(xs)-1)*(len(xs)-1))))/4)
	}
	return l
}

// BenchmarkSum: four tables (16 × 12 twice, 8, 8) under an envelope of other breakpoints, all multilinear.
func BenchmarkSum(b *testing.B) {
	for _, c := range []struct {
		name string
		room float64
	}{{"inside", 4}, {"touched", -1}, {"beyond", -15}} {
		b.Run(c.name, func(b *testing.B) {
			x, y, z, w := even(16, 500, 7500), even(12, 20, 240), even(8, -20, 80), even(8, -20, 110)
			ex, ey := even(6, 500, 7500), even(5, 20, 240)
			value := sumOf{sumOf{hill(0, 1, x, y, 20), hill(0, 1, x, y, 8)}, sumOf{slope(2, z, 2, -6), slope(3, w, 4, -2)}}
			limit := sumOf{hill(0, 1, ex, ey, 29), number(6 + c.room)}
			p := plain(value, limit)
			p.Cells = [][]Interval{span(joint(x, ex)...), span(joint(y, ey)...), span(z...), span(w...)}
			before := tree{sumOf{sumOf{hill(0, 1, x, y, 20), hill(0, 1, x, y, 7.5)}, sumOf{slope(2, z, 2, -6), slope(3, w, 4, -2)}}}
			b.Run("alone", func(b *testing.B) { judged(b, p) })
			b.Run("with a base", func(b *testing.B) {
				p.BaseValue, p.BaseLimit = before, p.Limit
				judged(b, p)
			})
		})
	}
}

// BenchmarkChain: a look-up through another, under an envelope: what one table gives is looked up in the next.
func BenchmarkChain(b *testing.B) {
	for _, c := range []struct {
		name string
		room float64
	}{{"inside", 0.5}, {"touched", 0}, {"beyond", -1}} {
		b.Run(c.name, func(b *testing.B) { judged(b, chained(4, c.room)) })
		b.Run(c.name+" with a base", func(b *testing.B) {
			p, q := chained(4, c.room), chained(4, c.room)
			p.BaseValue, p.BaseLimit = q.Value, q.Limit
			judged(b, p)
		})
	}
}

// BenchmarkInputs: how work grows with the inputs.
func BenchmarkInputs(b *testing.B) {
	for n := 1; n <= 5; n++ {
		b.Run(fmt.Sprint(n), func(b *testing.B) { judged(b, chained(n, 0.25)) })
	}
}

func chained(inputs int, room float64) *Problem {
	axes := [][]float64{even(19, 500, 7500), even(14, 20, 240), even(10, -20, 80), even(11, -20, 110), even(4, 8, 16)}[:inputs]
	inner := node(hill(0, 1%inputs, axes[0], axes[1%inputs], 60))
	if inputs == 1 {
		inner = slope(0, axes[0], 10, 130)
	}
	value := node(chain{of: inner, xs: even(9, 0, 140), ys: []float64{4, 9, 15, 22, 28, 31, 33, 34, 33}})
	for i := 2; i < inputs; i++ {
		value = sumOf{value, slope(i, axes[i], 2, -4)}
	}
	limit := slack(value, axes, room)
	p := plain(value, limit)
	for _, a := range axes {
		p.Cells = append(p.Cells, span(a...))
	}
	return p
}

// slack is a limit over the first two inputs, room above what the value is at their breakpoints, the others at their first.
func slack(value node, axes [][]float64, room float64) node {
	at := func(i, j int) float64 {
		var cell Box
		for k, a := range axes {
			cell[k] = Exactly(a[0])
		}
		cell[0] = Exactly(axes[0][i])
		if len(axes) > 1 {
			cell[1] = Exactly(axes[1][j])
		}
		var p [MaxInputs]float64
		for k := range p {
			p[k] = cell[k].Lo
		}
		return value.value(&cell, &p) + room
	}
	if len(axes) == 1 {
		l := line{on: 0, xs: axes[0]}
		for i := range l.xs {
			l.ys = append(l.ys, at(i, 0))
		}
		return l
	}
	m := plane{x: 0, y: 1, xs: axes[0], ys: axes[1]}
	for j := range m.ys {
		row := make([]float64, len(m.xs))
		for i := range row {
			row[i] = at(i, j)
		}
		m.z = append(m.z, row)
	}
	return m
}

func joint(a, b []float64) []float64 {
	var out []float64
	for len(a)+len(b) > 0 {
		var x float64
		if len(b) == 0 || len(a) > 0 && a[0] <= b[0] {
			x, a = a[0], a[1:]
		} else {
			x, b = b[0], b[1:]
		}
		if len(out) == 0 || out[len(out)-1] != x {
			out = append(out, x)
		}
	}
	return out
}

func judged(b *testing.B, p *Problem) {
	b.ReportAllocs()
	var r *Result
	for b.Loop() {
		r = Judge(p)
	}
	cells := 1
	for _, c := range p.Cells {
		cells *= len(c)
	}
	b.ReportMetric(float64(cells), "cells")
	b.ReportMetric(float64(r.Boxes), "boxes")
	b.ReportMetric(float64(r.Undecided), "undecided")
	b.ReportMetric(float64(r.Found[Introduced].Cells+r.Found[Worsened].Cells), "worse")
	b.ReportMetric(float64(r.Found[Inherited].Cells), "inherited")
	b.ReportMetric(r.Closest.Beyond, "beyond")
}
