package bounded

import (
	"math"
	"testing"
)

// TestExtremes: x (1 − x) y over two cells of x and a single point of y, by hand: 0 to 3/4.
func TestExtremes(t *testing.T) {
	f := Difference(tree{productOf{input(1), input(0)}}, tree{productOf{input(1), productOf{input(0), input(0)}}})
	step := func(*Box) float64 { return 0.01 }
	least, most, boxes := Extremes(f, [][]Interval{span(0, 0.75, 1), {Exactly(3)}}, nil, step, 0)
	if math.Abs(least.Value) > 0.005 || least.Bound > 0 || least.Bound < -0.005 || math.Abs(most.Value-0.75) > 0.005 ||
		most.Bound < 0.75 || most.Bound > 0.755 || boxes < 4 || boxes > 200 {
		t.Errorf("%+v, %+v, %d boxes", least, most, boxes)
	}
	only := func(index []int) bool { return index[0] == 1 }
	if _, most, _ = Extremes(f, [][]Interval{span(0, 0.75, 1), {Exactly(3)}}, only, step, 0); most.Value != 3*0.75*0.25 || most.Inputs[0] != 0.75 {
		t.Errorf("of the second cell: %+v", most)
	}
}

// TestExtremesAreNeverBeaten: by random points, and both are points.
func TestExtremesAreNeverBeaten(t *testing.T) {
	rounds(t, 40, func(t *testing.T, seed uint64) {
		g := newRig(seed, 1+int(seed%4))
		a := g.any(3)
		f := Difference(tree{g.changed(a)}, tree{a})
		s := newSearch(&Problem{Cells: g.cells()})
		least, most, _ := Extremes(f, s.axes, nil, func(*Box) float64 { return oneStep }, 2000)
		for _, end := range []*Extreme{&least, &most} {
			s.fill(s.number(&end.Cell), &s.cell)
			if v := f.At(&s.cell, &end.Inputs); !near(v, end.Value, 0) {
				t.Errorf("%+v is really %v", end, v)
			}
		}
		for range 500 {
			s.fill(g.IntN(int(s.total)), &s.cell)
			at := g.point(&s.cell)
			if v := f.At(&s.cell, &at); !math.IsInf(most.Beyond, 1) && v < least.Bound-1e-6 || v > most.Bound+1e-6 {
				t.Errorf("%v at %v, bounds %v to %v", v, at, least.Bound, most.Bound)
			}
		}
	})
}
