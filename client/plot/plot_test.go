package plot

import (
	"fmt"
	"math"
	"slices"
	"testing"

	"pgregory.net/rapid"
)

var inf, nan = math.Inf(1), math.NaN()

func TestRoundSteps(t *testing.T) {
	for _, c := range []struct {
		low, high float64
		n         int
		ticks     []string
	}{
		{0, 10, 5, []string{"0", "2", "4", "6", "8", "10"}},
		{0.83, 1.02, 4, []string{"0.80", "0.85", "0.90", "0.95", "1.00", "1.05"}},
		{-7, 3, 4, []string{"−10", "−5", "0", "5"}},
		{1013, 6950, 6, []string{"1000", "2000", "3000", "4000", "5000", "6000", "7000"}},
		{5, 5, 2, []string{"4.5", "5.0", "5.5"}},
		{inf, -inf, 2, []string{"0.0", "0.5", "1.0"}},
		{2e-9, 4e-9, 2, []string{"2e−09", "3e−09", "4e−09"}},
		{-math.MaxFloat64, math.MaxFloat64, 4, []string{"−1.8e+308", "1.8e+308"}},
	} {
		s := Round(c.low, c.high, 0, 100, c.n)
		var got []string
		for _, v := range s.Ticks {
			got = append(got, s.Text(v))
		}
		if !slices.Equal(got, c.ticks) {
			t.Errorf("%g to %g in about %d: %q, want %q", c.low, c.high, c.n, got, c.ticks)
		}
	}
}

// Whatever the range, its ends lie on the paper in order, ticks rise, are told apart, and are few.
func TestEveryRangeHasAScale(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		a, b := rapid.Float64().Draw(t, "a"), rapid.Float64().Draw(t, "b")
		n := rapid.IntRange(2, 10).Draw(t, "n")
		low, high := min(a, b), max(a, b)
		s := Round(low, high, 200, 0, n)
		if len(s.Ticks) < 2 || len(s.Ticks) > 3*n+3 || s.Low > low || s.High < high {
			t.Fatalf("%+v of %g to %g", s, low, high)
		}
		if high/2-low/2 > 1e-3*max(math.Abs(low), math.Abs(high)) && s.At(low) <= s.At(high) {
			t.Fatalf("%g lies at %g, %g at %g", low, s.At(low), high, s.At(high))
		}
		for i, v := range s.Ticks {
			if at := s.At(v); !(at >= 0 && at <= 200) || i > 0 && v <= s.Ticks[i-1] {
				t.Fatalf("tick %g of %v lies at %g", v, s.Ticks, at)
			}
		}
	})
}

func TestWhereAValueLies(t *testing.T) {
	s := Scale{Low: 10, High: 20, From: 100, To: 0}
	for v, want := range map[float64]float64{10: 100, 20: 0, 15: 50, 12.5: 75, 9: 100, inf: 0} {
		if got := s.At(v); got != want {
			t.Errorf("%g lies at %g, want %g", v, got, want)
		}
	}
	if got := (Scale{Low: 3, High: 3, From: 0, To: 8}).At(3); got != 4 {
		t.Errorf("the only value lies at %g, want the middle, 4", got)
	}
}

func TestLinesHaveGaps(t *testing.T) {
	x, y := Scale{Low: 0, High: 4, To: 40}, Scale{Low: 0, High: 10, From: 10}
	xs, ys := []float64{0, 1, 2, 3, 4}, []float64{0, 5, nan, 10, inf}
	if got, want := Line(xs, ys, x, y), "M0.0 10.0L10.0 5.0M30.0 0.0"; got != want {
		t.Errorf("line %s, want %s", got, want)
	}
	if got, want := Marks(xs, ys[:2], x, y, 4), "M-2.0 10.0h4M8.0 5.0h4"; got != want {
		t.Errorf("marks %s, want %s", got, want)
	}
	if low, high := Extent([]float64{3, nan}, []float64{-1, inf}); fmt.Sprint(low, high) != "-1 3" {
		t.Errorf("extent %g to %g, want -1 to 3", low, high)
	}
}
