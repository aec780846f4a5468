package surface

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"witnessmark/tables/bounded"
	"witnessmark/tables/definition"
)

// weighed takes the 2^n cells around a point, each by the product of its shares: the textbook's form, which shares nothing
// with interpolating axis after axis.
func weighed(axes [][]float64, values []float64, at []float64) float64 {
	sum := 0.0
	for corner := range 1 << len(axes) {
		weight, cell, stride := 1.0, 0, 1
		for i, a := range axes {
			k := 0
			for k+2 < len(a) && a[k+1] <= at[i] {
				k++
			}
			share := 0.0
			if len(a) > 1 {
				share = min(max((at[i]-a[k])/(a[k+1]-a[k]), 0), 1)
			}
			if corner>>i&1 == 1 {
				weight *= share
				cell += min(k+1, len(a)-1) * stride
			} else {
				weight *= 1 - share
				cell += k * stride
			}
			stride *= len(a)
		}
		sum += weight * values[cell]
	}
	return sum
}

func randomSolid(rng *rand.Rand) *Solid {
	var axes [][]float64
	n := 1
	for range 2 + rng.IntN(3) {
		at, axis := float64(rng.IntN(9)), []float64{}
		for range 1 + rng.IntN(4) {
			axis = append(axis, at)
			at += 0.5 + float64(rng.IntN(6))
		}
		axes, n = append(axes, axis), n*len(axis)
	}
	values := make([]float64, n)
	for i := range values {
		values[i] = math.Round(80*rng.Float64() - 40)
	}
	return newSolid(axes, values, nil)
}

func TestSolidAgainstWeights(t *testing.T) {
	seed := rand.Uint64()
	t.Logf("seed %d", seed)
	rng := rand.New(rand.NewPCG(seed, 1))
	for range 300 {
		s := randomSolid(rng)
		for range 20 {
			at := make([]float64, len(s.Axes))
			for i, a := range s.Axes {
				at[i] = a[0] - 2 + (a[len(a)-1]-a[0]+4)*rng.Float64()
				if rng.IntN(3) == 0 {
					at[i] = a[rng.IntN(len(a))]
				}
			}
			got, want := s.At(at...), weighed(s.Axes, s.Values, at)
			if math.Abs(got-want) > 1e-11 {
				t.Fatalf("%v at %v: %v, by weights %v", s, at, got, want)
			}
			held := make([]Span, len(at))
			for i, v := range at {
				held[i] = Place(s.Axes[i], v)
			}
			x, y := rng.IntN(len(at)), -1
			if o := rng.IntN(len(at)); o > x {
				y = o
			}
			g, p := s.Section(x, y, held), [2]float64{at[x], 0}
			if y >= 0 {
				p[1] = at[y]
			}
			if v := g.At(p[0], p[1]); math.Abs(v-want) > 1e-11 {
				t.Fatalf("%v: the section along %d and %d through %v has %v there, not %v", s, x, y, at, v, want)
			}
		}
	}
}

// Every point of a stretch lies in its piece, every slope between two points in its slopes; what is said to be linear is, and
// the ends of what no interpolation rounds are reached.
func TestPiecesHoldTheirPoints(t *testing.T) {
	seed := rand.Uint64()
	t.Logf("seed %d", seed)
	rng := rand.New(rand.NewPCG(seed, 2))
	linear := 0
	for range 300 {
		s := randomSolid(rng)
		var out Piece
		for range 5 {
			lo, hi, reach := make([]float64, len(s.Axes)), make([]float64, len(s.Axes)), make([]Reach, len(s.Axes))
			for i, a := range s.Axes {
				width := a[len(a)-1] - a[0] + 2
				lo[i] = a[0] - 1 + width*rng.Float64()
				hi[i] = lo[i] + width*rng.Float64()*rng.Float64()
				reach[i] = Along(a, lo[i], hi[i])
			}
			s.Over(reach, &out)
			for range 30 {
				p := make([]float64, len(lo))
				for i := range p {
					p[i] = lo[i] + (hi[i]-lo[i])*[]float64{0, 1, rng.Float64()}[rng.IntN(3)]
				}
				v := s.At(p...)
				if !out.Value.Holds(v) {
					t.Fatalf("%v from %v to %v: %v at %v is not within %v", s, lo, hi, v, p, out.Value)
				}
				i := rng.IntN(len(p))
				q, m := slices.Clone(p), slices.Clone(p)
				q[i] = lo[i] + (hi[i]-lo[i])*rng.Float64()
				m[i] = (p[i] + q[i]) / 2
				w := s.At(q...)
				if step := q[i] - p[i]; w-v < min(out.Slope[i].Lo*step, out.Slope[i].Hi*step)-1e-9 || w-v > max(out.Slope[i].Lo*step, out.Slope[i].Hi*step)+1e-9 {
					t.Fatalf("%v: from %v at %v to %v at %v, beyond the slopes %v", s, v, p, w, q, out.Slope[i])
				}
				if !out.Along[i] && v != w {
					t.Fatalf("%v: %v at %v and %v at %v, though it does not depend on axis %d", s, v, p, w, q, i)
				}
				if out.Linear && math.Abs(s.At(m...)-(v+w)/2) > 1e-9 {
					t.Fatalf("%v is not linear from %v to %v", s, p, q)
				}
			}
			if out.Linear {
				linear++
			}
		}
	}
	if linear < 20 {
		t.Errorf("%d linear pieces say nothing", linear)
	}
	s := newSolid([][]float64{{0, 1}, {0, 1}, {0, 2, 4}}, []float64{0, 1, 2, 3, 4, 5, 6, 7, 0, 9, 0, -1}, nil)
	var out Piece
	s.Over([]Reach{Along(s.Axes[0], 0, 1), Along(s.Axes[1], 0, 1), Along(s.Axes[2], 2, 4)}, &out)
	if out.Value != (bounded.Interval{Lo: -1, Hi: 9}) || !out.Linear || out.Slope[2].Lo > -4 || out.Slope[2].Hi < 2 {
		t.Errorf("by hand -1 to 9, linear, slopes -4 to 2 along the third: %+v", out)
	}
	s.Over([]Reach{Along(s.Axes[0], 0, 1), Along(s.Axes[1], 0, 1), Along(s.Axes[2], 0, 4)}, &out)
	if out.Linear || out.Value.Hi != 9 {
		t.Errorf("over two stretches: %+v", out)
	}
}

// A block whose axes fall is read backwards along each of them.
func TestSolidOfABlock(t *testing.T) {
	gear, temp := &definition.Axis{ID: "gear"}, &definition.Axis{ID: "temp"}
	block := &definition.Table{ID: "b", Kind: "block", Cells: &definition.Cells{Bytes: 8, Float: true, Conv: definition.Conversion{Factor: 1}}}
	d := &Decoded{Table: block, NX: 2, NY: 1}
	for k := range 6 { // gear falls 3, 2, 1; temp rises 10, 20
		at := []definition.Place{{Axis: gear, Point: float64(3 - k%3)}, {Axis: temp, Point: float64(10 + 10*(k/3))}}
		one := &Decoded{Table: &definition.Table{ID: "b", Kind: "map", Cells: block.Cells, Slice: &definition.Slice{Of: block, Index: []int{k % 3, k / 3}, At: at}},
			X: []float64{1, 0}, NX: 2, NY: 1, Values: []float64{float64(10 * k), float64(10*k + 1)}}
		one.Bits = make([]uint64, 2)
		d.Slices, d.Values = append(d.Slices, one), append(d.Values, one.Values...)
	}
	if got := d.Beyond(); !slices.Equal(got[0], []float64{3, 2, 1}) || !slices.Equal(got[1], []float64{10, 20}) {
		t.Fatalf("beyond y: %v", got)
	}
	s, err := d.Solid()
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct{ x, gear, temp, want float64 }{
		{1, 3, 10, 0}, {0, 3, 10, 1}, {1, 1, 10, 20}, {0, 1, 20, 51}, {1, 2.5, 10, 5}, {0.5, 3, 15, 15.5}, {1, 9, 9, 0},
	} {
		if got := s.At(c.x, 0, c.gear, c.temp); got != c.want {
			t.Errorf("at x %v, gear %v, temp %v: %v, by hand %v", c.x, c.gear, c.temp, got, c.want)
		}
	}
}
