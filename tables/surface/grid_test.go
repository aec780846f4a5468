package surface

import (
	"math"
	"slices"
	"testing"

	"gonum.org/v1/gonum/interp"
	"pgregory.net/rapid"
)

type query struct{ y, x, want float64 }

func checkAll(t *testing.T, g *Grid, queries []query) {
	t.Helper()
	for _, q := range queries {
		if got := g.At(q.x, q.y); math.Abs(got-q.want) > 1e-12*math.Max(1, math.Abs(q.want)) {
			t.Errorf("At(x=%v, y=%v) = %.15g, want %.15g", q.x, q.y, got, q.want)
		}
	}
}

// Source: SciPy 1.10.1, RegularGridInterpolator(method="linear"), coordinates clamped to the axis
// ends; the same values came out of exact fractions, which are the ones written here.
func sciPyGrid() *Grid {
	return &Grid{
		X: []float64{800, 1500, 3200, 5000, 7000},
		Y: []float64{20, 45, 100, 180},
		Values: []float64{
			12.5, 18, 30.25, 35, 36.5,
			11, 20.5, 28.75, 33, 34,
			8, 14.25, 22.5, 27, 28.5,
			4, 9, 15.75, 19.5, 20.25,
		},
	}
}

func TestAtAgainstSciPy(t *testing.T) {
	checkAll(t, sciPyGrid(), []query{
		{60, 2000, 7937.0 / 374}, {33, 1100, 5239.0 / 350}, {150, 6300, 14709.0 / 640},
		{100, 3200, 22.5}, {70, 5000, 333.0 / 11}, {45, 2350, 197.0 / 8},
		{20, 800, 12.5}, {180, 7000, 20.25}, {20, 4100, 261.0 / 8}, {140, 7000, 195.0 / 8},
		{5, 500, 12.5}, {60, 8200, 32.5}, {250, 2000, 747.0 / 68}, {53.25, 3800, 3509.0 / 120},
	})
}

// Source: the same; the whole table on other breakpoints, printed to 12 decimals.
func TestResampleAgainstSciPy(t *testing.T) {
	xs := []float64{800, 1000, 2000, 3200, 4000, 6000, 7000}
	ys := []float64{20, 32.5, 60, 100, 140, 180}
	want := []float64{
		12.5, 14.071428571429, 21.602941176471, 30.25, 32.361111111111, 35.75, 36.5,
		11.75, 13.892857142857, 22.264705882353, 29.5, 31.5, 34.625, 35.25,
		10.181818181818, 12.642857142857, 21.22192513369, 27.045454545455, 28.964646464646, 31.931818181818, 32.5,
		8, 9.785714285714, 16.676470588235, 22.5, 24.5, 27.75, 28.5,
		6, 7.607142857143, 13.830882352941, 19.125, 20.958333333333, 23.8125, 24.375,
		4, 5.428571428571, 10.985294117647, 15.75, 17.416666666667, 19.875, 20.25,
	}
	g := sciPyGrid()
	for r, y := range ys {
		for c, x := range xs {
			if got := g.At(x, y); math.Abs(got-want[r*len(xs)+c]) > 1e-12 {
				t.Errorf("At(x=%v, y=%v) = %.13g, want %.13g", x, y, got, want[r*len(xs)+c])
			}
		}
	}
}

// Source: numpy.interp, which holds the end values.
func TestCurveAgainstNumPy(t *testing.T) {
	g := &Grid{X: []float64{0, 10, 25, 60}, Y: []float64{0}, Values: []float64{1, 1.5, -0.25, 4}}
	checkAll(t, g, []query{
		{0, -5, 1}, {0, 0, 1}, {0, 2.5, 1.125}, {0, 10, 1.5},
		{0, 17.5, 0.625}, {0, 42.5, 1.875}, {0, 60, 4}, {0, 99, 4},
	})
}

// Curves agree with gonum's piecewise linear interpolation wherever there is no step.
func TestCurveAgainstGonum(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		xs := rapid.SliceOfNDistinct(rapid.IntRange(-500, 500), 2, 12, rapid.ID[int]).Draw(t, "x")
		slices.Sort(xs)
		var x, v []float64
		for _, p := range xs {
			x = append(x, float64(p)/4)
			v = append(v, float64(rapid.IntRange(-1000, 1000).Draw(t, "v"))/8)
		}
		var oracle interp.PiecewiseLinear
		if err := oracle.Fit(x, v); err != nil {
			t.Fatal(err)
		}
		g := &Grid{X: x, Y: []float64{0}, Values: v}
		q := rapid.Float64Range(-150, 150).Draw(t, "q")
		if got, want := g.At(q, 7), oracle.Predict(q); math.Abs(got-want) > 1e-10 {
			t.Errorf("At(%v) = %v, gonum says %v", q, got, want)
		}
	})
}

func TestInterpolationStaysBetweenItsNeighbours(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		g := sciPyGrid()
		x, y := rapid.Float64Range(0, 9000).Draw(t, "x"), rapid.Float64Range(0, 300).Draw(t, "y")
		got := g.At(x, y)
		if lo, hi := slices.Min(g.Values), slices.Max(g.Values); got < lo || got > hi {
			t.Errorf("At(%v, %v) = %v lies outside %v…%v", x, y, got, lo, hi)
		}
	})
}

// sidesAt is the surface at a point from each side that there is: below first, x faster.
func sidesAt(g *Grid, x, y float64) (out []float64) {
	from := func(step bool) []bool {
		if step {
			return []bool{true, false}
		}
		return []bool{false}
	}
	inX, inY := g.Steps(x, y)
	for _, belowY := range from(inY) {
		for _, belowX := range from(inX) {
			out = append(out, g.Side(x, y, belowX, belowY))
		}
	}
	return out
}

func TestSteps(t *testing.T) {
	curve := &Grid{X: []float64{0, 10, 10, 20}, Y: []float64{0}, Values: []float64{0, 1, 5, 7}}
	for _, c := range []struct {
		x     float64
		at    float64
		sides []float64
	}{
		{5, 0.5, []float64{0.5}}, {10, 5, []float64{1, 5}}, {15, 6, []float64{6}}, {20, 7, []float64{7}},
		{-1, 0, []float64{0}}, {99, 7, []float64{7}},
	} {
		if got := curve.At(c.x, 0); got != c.at {
			t.Errorf("At(%v) = %v, want %v", c.x, got, c.at)
		}
		if got := sidesAt(curve, c.x, 0); !slices.Equal(got, c.sides) {
			t.Errorf("the sides at %v are %v, want %v", c.x, got, c.sides)
		}
	}
	below := math.Nextafter(10, 0)
	if got := curve.At(below, 0); math.Abs(got-1) > 1e-12 {
		t.Errorf("just below the step: %v, want the earlier cell's 1", got)
	}
	cross := &Grid{X: []float64{3, 3}, Y: []float64{8, 8}, Values: []float64{1, 2, 3, 4}}
	if got := sidesAt(cross, 3, 8); !slices.Equal(got, []float64{1, 2, 3, 4}) {
		t.Errorf("where steps cross: %v, want all four cells", got)
	}
	for i, want := range []float64{1, 2, 3, 4} {
		if got := cross.Side(3, 8, i%2 == 0, i < 2); got != want {
			t.Errorf("side %d where steps cross: %v, want %v", i, got, want)
		}
	}
	if inX, inY := curve.Steps(10, 0); !inX || inY {
		t.Errorf("Steps(10) = %v, %v", inX, inY)
	}
	if got := cross.At(2, 8); got != 3 {
		t.Errorf("below the x step, at the y step: %v, want 3", got)
	}
	three := &Grid{X: []float64{0, 4, 4, 4, 8}, Y: []float64{0}, Values: []float64{0, 1, 2, 3, 4}}
	if got := sidesAt(three, 4, 0); !slices.Equal(got, []float64{1, 3}) {
		t.Errorf("three equal breakpoints: %v, want the first and the last", got)
	}
}

func TestExactnessAtEndsOfACell(t *testing.T) {
	// A value that (1-t)*a + t*b would not reproduce must come back bit for bit.
	a, b := 0.1, 0.3
	g := &Grid{X: []float64{0.1, 0.7}, Y: []float64{0}, Values: []float64{a, b}}
	if g.At(0.1, 0) != a || g.At(0.7, 0) != b {
		t.Error("a breakpoint does not give its own cell")
	}
	for i := range 1000 {
		v := float64(i) * 0.1
		flat := &Grid{X: []float64{0, 7}, Y: []float64{0}, Values: []float64{v, v}}
		for x := 0.5; x < 7; x += 0.5 {
			if got := flat.At(x, 0); got != v {
				t.Fatalf("between equal neighbours: %v, want exactly %v", got, v)
			}
		}
	}
	inf := math.Inf(1)
	hot := &Grid{X: []float64{0, 1}, Y: []float64{0}, Values: []float64{1, inf}}
	if got := hot.At(0, 0); got != 1 {
		t.Errorf("beside an infinity: %v, want 1", got)
	}
}

func TestOddCoordinates(t *testing.T) {
	g := sciPyGrid()
	if !math.IsNaN(g.At(math.NaN(), 20)) || !math.IsNaN(g.Side(800, math.NaN(), true, true)) {
		t.Error("a NaN coordinate must give NaN")
	}
	if g.At(math.Inf(1), math.Inf(-1)) != 36.5 {
		t.Error("an infinite coordinate must hold the end value")
	}
	wide := &Grid{X: []float64{-math.MaxFloat64, math.MaxFloat64}, Y: []float64{0}, Values: []float64{0, 2}}
	if got := wide.At(0, 0); got != 1 {
		t.Errorf("across the whole range of float64: %v, want 1", got)
	}
}

func TestJoin(t *testing.T) {
	a, b := []float64{1, 2, 2, 9}, []float64{0, 2, 5}
	if got := Join(a, b); !slices.Equal(got, []float64{0, 1, 2, 5, 9}) {
		t.Errorf("Join = %v", got)
	}
	if !slices.Equal(a, []float64{1, 2, 2, 9}) {
		t.Error("Join changed its input")
	}
}
