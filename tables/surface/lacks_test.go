package surface

import (
	"math"
	"math/rand/v2"
	"testing"

	"witnessmark/tables/bounded"
)

// Where a stretch is said to lack nothing no point of it is NaN, where it is said to lack all every one is.
func TestLacksHoldsItsPoints(t *testing.T) {
	seed := rand.Uint64()
	t.Logf("seed %d", seed)
	rng := rand.New(rand.NewPCG(seed, 4))
	var scratch [5]Piece
	alls, nones := 0, 0
	for range 2000 {
		s := randomSolid(rng)
		for i := range s.Values {
			if rng.IntN(3) == 0 {
				s.Values[i] = math.NaN()
			}
		}
		n := len(s.Axes)
		lo, hi, at := make([]float64, n), make([]float64, n), make([]Reach, n)
		place := func(a []float64) float64 {
			if rng.IntN(3) == 0 {
				return a[rng.IntN(len(a))]
			}
			return a[0] - 1 + (a[len(a)-1]-a[0]+2)*rng.Float64()
		}
		for i, a := range s.Axes {
			lo[i], hi[i] = place(a), place(a)
			lo[i], hi[i] = min(lo[i], hi[i]), max(lo[i], hi[i])
			if rng.IntN(3) == 0 {
				hi[i] = lo[i]
			}
			at[i] = Along(a, lo[i], hi[i])
		}
		some, all := s.Lacks(at, &scratch[n])
		if all {
			alls++
		}
		if !some {
			nones++
		}
		for range 30 {
			p := make([]float64, n)
			for i, a := range s.Axes {
				p[i] = lo[i] + (hi[i]-lo[i])*[]float64{0, 1, rng.Float64()}[rng.IntN(3)]
				if b := a[rng.IntN(len(a))]; b > lo[i] && b < hi[i] && rng.IntN(2) == 0 {
					p[i] = b
				}
			}
			if v := s.At(p...); v != v && !some || v == v && all {
				t.Fatalf("seed %d: %v from %v to %v lacks some %v, all %v, and is %v at %v", seed, s, lo, hi, some, all, v, p)
			}
		}
	}
	if alls < 100 || nones < 100 {
		t.Errorf("%d all, %d none: too few to say anything", alls, nones)
	}
}

// By hand: cells 1, NaN, 3 at 0, 10, 20.
func TestLacksByHand(t *testing.T) {
	axis := []float64{0, 10, 20}
	s := newSolid([][]float64{axis, {0}}, []float64{1, math.NaN(), 3}, nil)
	inside := func(lo, hi, at float64) Reach { return Beside(axis, Place(axis, at), at, lo, hi) }
	for _, c := range []struct {
		of        Reach
		some, all bool
	}{
		{Along(axis, 2, 8), true, true}, {Along(axis, 0, 8), true, false}, {Along(axis, 2, 18), true, true}, {Along(axis, 2, 20), true, false},
		{Along(axis, -5, 0), false, false}, {Along(axis, 25, 30), false, false}, {Along(axis, 15, 30), true, false}, {Along(axis, 10, 10), true, true},
		{inside(0, 10, 5), true, true}, {inside(10, 20, 15), true, true}, {inside(0, 0, 5), false, false}, {inside(20, 20, 15), true, false},
	} {
		some, all := s.Lacks([]Reach{c.of, {}}, &Piece{})
		if all != c.all || some != c.some && !(some && !c.all) {
			t.Errorf("%+v: some %v, all %v; by hand %v, %v", c.of, some, all, c.some, c.all)
		}
	}
	var out Piece
	if s.Over([]Reach{Along(axis, 2, 8), {}}, &out); !out.Value.Undefined || out.Value.Lo != bounded.Whole().Lo {
		t.Errorf("what holds a NaN may have no value: %+v", out.Value)
	}
}
