package surface

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"
)

// over is a patch from lo to hi along both axes.
func over(g *Grid, xlo, xhi, ylo, yhi float64) Patch {
	x, y := Along(g.X, xlo, xhi), Along(g.Y, ylo, yhi)
	var p Patch
	g.Enclose().Over(&x, &y, &p)
	return p
}

// By hand on a map of 2 × 2: 0 10 over 20 60, x and y from 0 to 10.
func TestPatchByHand(t *testing.T) {
	g := &Grid{X: []float64{0, 10}, Y: []float64{0, 10}, Values: []float64{0, 10, 20, 60}}
	p := over(g, 0, 10, 0, 10)
	if p.Value.Lo != 0 || p.Value.Hi != 60 || !p.Bilinear || p.Step || !p.AlongX || !p.AlongY {
		t.Errorf("%+v", p)
	}
	for _, c := range []struct {
		name         string
		got, lo, hi  float64
		gotHi, bound float64
	}{{"x", p.SlopeX.Lo, 1, 4, p.SlopeX.Hi, 1e-12}, {"y", p.SlopeY.Lo, 2, 5, p.SlopeY.Hi, 1e-12}} {
		if c.got > c.lo || c.got < c.lo-c.bound || c.gotHi < c.hi || c.gotHi > c.hi+c.bound {
			t.Errorf("slope along %s %v to %v, want %v to %v", c.name, c.got, c.gotHi, c.lo, c.hi)
		}
	}
	if p := over(g, 5, 5, 5, 5); p.Value.Lo > 22.5 || p.Value.Hi < 22.5 || p.Value.Hi-p.Value.Lo > 1e-12 {
		t.Errorf("in the middle %+v", p.Value)
	}
	if p := over(g, -5, -1, 0, 10); p.Value.Lo != 0 || p.Value.Hi != 20 || p.AlongX || p.SlopeX.Lo != 0 || p.SlopeX.Hi != 0 || !p.Bilinear {
		t.Errorf("held before the axis: %+v", p)
	}
	if p := over(g, 5, 20, 0, 0); math.Abs(p.Value.Hi-10) > 1e-12 || p.SlopeX.Lo > 0 || p.SlopeX.Hi < 1 || p.Bilinear {
		t.Errorf("into the part that is held: %+v", p)
	}
}

func TestPatchAtSteps(t *testing.T) {
	g := &Grid{X: []float64{0, 10, 10, 20}, Y: []float64{0}, Values: []float64{0, 4, 50, 60}}
	for _, c := range []struct {
		lo, hi, least, most float64
		step                bool
	}{
		{0, 9, 0, 3.6, false}, {0, 10, 0, 50, true}, {10, 20, 50, 60, false}, {5, 15, 2, 55, true}, {10, 10, 50, 50, false},
	} {
		p := over(g, c.lo, c.hi, 0, 0)
		if p.Step != c.step || math.Abs(p.Value.Lo-c.least) > 1e-12 || math.Abs(p.Value.Hi-c.most) > 1e-12 {
			t.Errorf("%v to %v: %+v, want %+v", c.lo, c.hi, p, c)
		}
	}
	// From inside a cell, its end is on its own side of the step.
	e := g.Enclose()
	for _, c := range []struct{ inside, v, want float64 }{{5, 10, 4}, {5, 0, 0}, {15, 10, 50}, {10, 10, 50}, {25, 25, 60}, {-1, 0, 0}, {20, 20, 60}} {
		if got := e.Between(PlaceBeside(g.X, Place(g.X, c.inside), c.inside, c.v), Span{}); got != c.want {
			t.Errorf("%v beside %v: %v, want %v", c.v, c.inside, got, c.want)
		}
	}
}

func TestPointsOfAnIndexAxis(t *testing.T) {
	axis := []float64{1, 2, 3, 5}
	for _, c := range []struct {
		lo, hi float64
		any    bool
		n      int
	}{{2, 2, true, 1}, {2, 3, true, 2}, {0, 9, true, 4}, {3.5, 4, false, 0}, {2 + 1e-12, 2 + 1e-12, true, 1}, {6, 7, false, 0}} {
		r, any := Points(axis, c.lo, c.hi)
		if any != c.any || any && r.stations() != c.n {
			t.Errorf("%v to %v: %+v %v", c.lo, c.hi, r, any)
		}
	}
	if s, ok := PlaceExactly(axis, 4); ok {
		t.Errorf("4 is %+v", s)
	}
	if s, ok := PlaceExactly(axis, 5); !ok || s.lo != 3 {
		t.Errorf("5 is %+v %v", s, ok)
	}
}

// What no number is makes the patch undefined.
func TestPatchOfNoNumbers(t *testing.T) {
	g := &Grid{X: []float64{0, 10}, Y: []float64{0}, Values: []float64{1, math.NaN()}}
	if p := over(g, 0, 5, 0, 0); !p.Value.Undefined {
		t.Errorf("%+v", p)
	}
	if p := over(g, -5, 0, 0, 0); p.Value.Undefined || p.Value.Lo != 1 || p.Value.Hi != 1 {
		t.Errorf("beside it: %+v", p)
	}
}

// TestPatchesHoldTheirPoints: on published and random grids, a surface stays within its patch, is steep only as the patch
// says, and reaches both ends of it.
func TestPatchesHoldTheirPoints(t *testing.T) {
	seed := rand.Uint64()
	t.Logf("seed %d", seed)
	r := rand.New(rand.NewPCG(seed, 1))
	grids := []*Grid{gridOf(t, epaFuel), gridOf(t, nrelSmall), gridOf(t, nrelLarge)}
	for range 30 {
		g := &Grid{X: make([]float64, 1+r.IntN(5)), Y: make([]float64, 1+r.IntN(5))}
		for _, axis := range [][]float64{g.X, g.Y} {
			for i := range axis {
				axis[i] = float64(r.IntN(12))
			}
			slices.Sort(axis)
		}
		for range len(g.X) * len(g.Y) {
			g.Values = append(g.Values, float64(r.IntN(200)-100)/8)
		}
		grids = append(grids, g)
	}
	for _, g := range grids {
		some := func(axis []float64) (float64, float64) {
			w := axis[len(axis)-1] - axis[0] + 2
			a, b := axis[0]-1+w*r.Float64(), axis[0]-1+w*r.Float64()
			if r.IntN(3) == 0 {
				a = axis[r.IntN(len(axis))]
			}
			return min(a, b), max(a, b)
		}
		for range 20 {
			xlo, xhi := some(g.X)
			ylo, yhi := some(g.Y)
			p := over(g, xlo, xhi, ylo, yhi)
			least, most := math.Inf(1), math.Inf(-1)
			look := func(x, y float64) {
				for _, below := range [][2]bool{{}, {x > xlo}, {false, y > ylo}, {x > xlo, y > ylo}} {
					v := g.Side(x, y, below[0], below[1])
					least, most = min(least, v), max(most, v)
				}
				v := g.At(x, y)
				if !p.Value.Holds(v) {
					t.Fatalf("At(%v, %v) = %v lies outside %v", x, y, v, p.Value)
				}
				if x2 := xlo + (xhi-xlo)*r.Float64(); !p.Step {
					within(t, p.SlopeX.Lo, p.SlopeX.Hi, g.At(x2, y)-v, x2-x)
				}
				if y2 := ylo + (yhi-ylo)*r.Float64(); !p.Step {
					within(t, p.SlopeY.Lo, p.SlopeY.Hi, g.At(x, y2)-v, y2-y)
				}
			}
			inside := func(axis []float64, lo, hi float64) []float64 {
				out := []float64{lo, hi, lo + (hi-lo)*r.Float64()}
				for _, v := range axis {
					if v > lo && v < hi {
						out = append(out, v)
					}
				}
				return out
			}
			for _, x := range inside(g.X, xlo, xhi) {
				for _, y := range inside(g.Y, ylo, yhi) {
					look(x, y)
				}
			}
			// Both ends are real: nothing is wider than rounding makes it.
			if !p.Step && (math.Abs(p.Value.Lo-least) > 1e-9 || math.Abs(p.Value.Hi-most) > 1e-9) {
				t.Fatalf("%v to %v, %v to %v: %v, the surface goes from %v to %v", xlo, xhi, ylo, yhi, p.Value, least, most)
			}
		}
	}
}

func within(t *testing.T, lo, hi, rise, step float64) {
	t.Helper()
	if slack := 1e-9; rise < min(lo*step, hi*step)-slack || rise > max(lo*step, hi*step)+slack {
		t.Fatalf("over %v it rises by %v: the slope is not within %v to %v", step, rise, lo, hi)
	}
}
