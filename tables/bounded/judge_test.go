package bounded

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"
)

// rounds are played by each random test.
func rounds(t *testing.T, many int, play func(t *testing.T, seed uint64)) {
	t.Helper()
	if testing.Short() {
		many /= 10
	}
	first := rand.Uint64()
	t.Logf("seeds from %d", first)
	for k := range many {
		if play(t, first+uint64(k)); t.Failed() {
			t.Fatalf("seed %d", first+uint64(k))
		}
	}
}

// TestEnclosuresOfTheTests: what the other tests bring is itself right: nodes bound their values and their slopes.
func TestEnclosuresOfTheTests(t *testing.T) {
	rounds(t, 400, func(t *testing.T, seed uint64) {
		g := newRig(seed, 1+int(seed%4))
		f := g.any(3)
		s := newSearch(g.problem(f, number(0), nil, nil))
		for range 25 {
			var cell, box Box
			s.fill(g.IntN(int(s.total)), &cell)
			a, b := g.point(&cell), g.point(&cell)
			for i := range box {
				box[i] = Interval{Lo: min(a[i], b[i]), Hi: max(a[i], b[i])}
			}
			bounds := f.bounds(&cell, &box)
			far := s.far.over(&cell, &box)
			hi, _, _ := s.far.highest(&far, &cell, &box, new([MaxInputs]float64))
			p, q := g.point(&box), g.point(&box)
			v, w := f.value(&cell, &p), f.value(&cell, &q)
			allowed := tolerance(v, w)
			if v < bounds.Lo-allowed || v > bounds.Hi+allowed {
				t.Errorf("%#v: %v at %v is outside %v of %v", f, v, p, bounds.Interval, box)
			}
			if s.far.ceiling && v > hi+allowed || !s.far.ceiling && -v > hi+allowed {
				t.Errorf("%#v: %v at %v is beyond %v of %v", f, v, p, hi, box)
			}
			if most := 0.0; bounds.Smooth {
				for i := range p {
					most += max(math.Abs(bounds.Slope[i].Lo), math.Abs(bounds.Slope[i].Hi)) * math.Abs(p[i]-q[i])
				}
				if math.Abs(v-w) > most+allowed {
					t.Errorf("%#v: %v at %v, %v at %v, and slopes %v", f, v, p, w, q, bounds.Slope)
				}
			}
		}
	})
}

// TestNeverBeaten: ten thousand random points against the answer: none lies where it says that none does.
func TestNeverBeaten(t *testing.T) {
	rounds(t, 40, func(t *testing.T, seed uint64) {
		g := newRig(seed, 1+int(seed%4))
		g.tame = seed%3 == 0
		value, limit := g.any(3), g.bilinear(1)
		baseValue, baseLimit := node(nil), node(nil)
		if seed%2 == 0 {
			baseValue, baseLimit = g.changed(value), limit
		}
		p := g.problem(value, limit, baseValue, baseLimit)
		p.Budget = 4000
		s := newSearch(p)
		s.spread()
		s.decide()
		s.refine()
		r := Judge(p)
		if again := Judge(p); fmt.Sprint(r) != fmt.Sprint(again) {
			t.Errorf("%+v, and again %+v", r, again)
		}
		realPoints(t, s, r)
		stuck := map[int32]bool{}
		for i := range s.stuck {
			stuck[s.stuck[i].slot] = true
		}
		for range 10000 {
			slot := int32(g.IntN(len(s.cells)))
			s.fill(s.cells[slot].number, &s.cell)
			at := g.point(&s.cell)
			v, l, beyond := s.far.at(&s.cell, &at)
			allowed := tolerance(v, l)
			if beyond > r.Bound+allowed {
				t.Errorf("%v at %v beyond the bound %v", beyond, at, r.Bound)
			}
			if beyond <= oneStep/2+allowed {
				continue
			}
			c := &s.cells[slot]
			switch {
			case !c.failing() && !stuck[slot]:
				t.Errorf("%v beyond at %v, where nothing was found", beyond, at)
			case s.base.value == nil || c.found[Introduced] || c.found[Worsened] || stuck[slot]:
			default: // all that was found is as it was
				if _, _, before := s.base.at(&s.cell, &at); beyond-before > oneStep/2+allowed {
					t.Errorf("inherited, but from %v to %v at %v", before, beyond, at)
				}
			}
		}
		if g.tame && r.Bound > r.Closest.Beyond+oneStep/2+1e-6 && r.Boxes < p.Budget-2 {
			t.Errorf("closest %v, and no point beyond %v", r.Closest.Beyond, r.Bound)
		}
	})
}

// TestBoundsOfOrigins: of random points none lies further beyond than the bound of its origin, where nothing is multilinear.
func TestBoundsOfOrigins(t *testing.T) {
	rounds(t, 40, func(t *testing.T, seed uint64) {
		g := newRig(seed, 1+int(seed%3))
		g.tame = true
		value := sumOf{g.any(2), productOf{number(0.01), productOf{input(0), input(0)}}}
		limit := g.bilinear(0)
		p := g.problem(value, limit, sumOf{g.changed(value.a), value.b}, limit)
		p.Budget = 4000
		s, r := newSearch(p), Judge(p)
		for range 3000 {
			s.fill(g.IntN(int(s.total)), &s.cell)
			at := g.point(&s.cell)
			_, _, beyond := s.far.at(&s.cell, &at)
			_, _, before := s.base.at(&s.cell, &at)
			if s.cell[0].Lo == s.cell[0].Hi || beyond <= oneStep/2+1e-6 {
				continue
			}
			bound := max(r.Found[Worsened].Bound, r.Found[Inherited].Bound)
			if before <= oneStep/2-1e-6 {
				if bound = r.Found[Introduced].Bound; r.Found[Introduced].Cells == 0 && (beyond <= oneStep+1e-6 || r.Found[Worsened].Cells+r.Undecided > 0) {
					continue
				}
			} else if before <= oneStep/2+1e-6 {
				continue
			}
			if beyond > bound+1e-6 && r.Undecided == 0 {
				t.Errorf("%v, before %v, at %v: %+v", beyond, before, at, r.Found)
			}
		}
	})
}

// realPoints holds what an answer names against its own evaluation.
func realPoints(t *testing.T, s *search, r *Result) {
	t.Helper()
	check := func(what string, p *Point, o int) {
		number := s.number(&p.Cell)
		s.fill(number, &s.cell)
		for i, x := range p.Inputs {
			if !s.cell[i].Holds(x) {
				t.Errorf("%s: %v is not in its cell %v", what, p.Inputs, s.cell)
			}
		}
		v, l, beyond := s.far.at(&s.cell, &p.Inputs)
		if !near(v, p.Value, 0) || !near(l, p.Limit, 0) || beyond != p.Beyond {
			t.Errorf("%s: %+v is really %v, %v, %v", what, p, v, l, beyond)
		}
		if o >= 0 && s.base.value != nil {
			_, _, before := s.base.at(&s.cell, &p.Inputs)
			if passed := before <= oneStep/2+1e-6; !passed && o == int(Introduced) || before <= 0 && o != int(Introduced) {
				t.Errorf("%s: origin %d, and the base is %v beyond", what, o, before)
			}
		}
	}
	if r.Judged {
		check("closest", &r.Closest, -1)
	}
	for o := range r.Found {
		f := &r.Found[o]
		if f.Cells == 0 {
			continue
		}
		check("worst", &f.Worst, o)
		if f.Worst.Beyond <= 0 || f.Bound < f.Worst.Beyond || f.Worst.Beyond > r.Closest.Beyond {
			t.Errorf("origin %d: %+v, closest %v", o, f, r.Closest.Beyond)
		}
	}
}

// TestEqualToCorners: where all is multilinear the answer is that of every corner of every cell.
func TestEqualToCorners(t *testing.T) {
	rounds(t, 150, func(t *testing.T, seed uint64) {
		g := newRig(seed, 1+int(seed%4))
		value, limit := g.bilinear(int(seed/4%3)), g.bilinear(0)
		var baseValue, baseLimit node
		if seed%3 > 0 {
			baseValue, baseLimit = g.changed(value), limit
		}
		p := g.problem(value, limit, baseValue, baseLimit)
		p.Step = func(*Box) float64 { return 0 }
		r := Judge(p)
		want := corners(p)
		if r.Undecided != 0 || r.Bound != r.Closest.Beyond || r.Closest != want.Closest || r.Found != want.Found {
			t.Errorf("%+v\nwant %+v", r, want)
		}
	})
}

// corners is the answer by looking at every corner of every cell, and of the cells beside it for the origin.
func corners(p *Problem) *Result {
	s := newSearch(p)
	r := &Result{}
	first := true
	failing := func(at Point) bool { return at.Beyond > tolerance(at.Value, at.Limit) }
	eval := func(d *distance, number int, at [MaxInputs]float64) Point {
		var cell Box
		s.fill(number, &cell)
		pt := Point{Inputs: at, Cell: s.index(number)}
		pt.Value, pt.Limit, pt.Beyond = d.at(&cell, &at)
		return pt
	}
	each := func(number int, do func(at [MaxInputs]float64)) {
		var cell Box
		s.fill(number, &cell)
		for k := range 1 << len(p.Cells) {
			var at [MaxInputs]float64
			for i := range at {
				if at[i] = cell[i].Lo; k>>i&1 != 0 {
					at[i] = cell[i].Hi
				}
			}
			do(at)
		}
	}
	further := func(number int) (found bool) {
		each(number, func(at [MaxInputs]float64) {
			now, before := eval(&s.far, number, at), eval(&s.base, number, at)
			found = found || now.Beyond-before.Beyond > tolerance(now.Value, now.Limit)
		})
		return found
	}
	inherited := func(at Point) bool {
		before := eval(&s.base, s.number(&at.Cell), at.Inputs)
		for n := range int(s.total) {
			var cell Box
			s.fill(n, &cell)
			touches := true
			for i := range p.Cells {
				touches = touches && cell[i].Holds(at.Inputs[i])
			}
			if touches && eval(&s.far, n, at.Inputs).Value == at.Value && eval(&s.far, n, at.Inputs).Limit == at.Limit &&
				eval(&s.base, n, at.Inputs).Value == before.Value && further(n) {
				return false
			}
		}
		return true
	}
	worse := func(a, b *Point) bool {
		order := func(p *Point) []float64 { // y outer, x inner, then the cell
			keys := []float64{-p.Beyond}
			for i := MaxInputs - 1; i >= 0; i-- {
				keys = append(keys, p.Inputs[i])
			}
			return append(keys, float64(s.number(&p.Cell)))
		}
		return slices.Compare(order(a), order(b)) < 0
	}
	for number := range int(s.total) {
		var found [3]bool
		each(number, func(at [MaxInputs]float64) {
			pt := eval(&s.far, number, at)
			if first || worse(&pt, &r.Closest) {
				r.Closest, first = pt, false
			}
			if !failing(pt) {
				return
			}
			o := Introduced
			if p.BaseValue != nil && failing(eval(&s.base, number, at)) {
				if o = Worsened; inherited(pt) {
					o = Inherited
				}
			}
			f := &r.Found[o]
			if f.Cells == 0 || worse(&pt, &f.Worst) {
				f.Worst, f.Bound = pt, pt.Beyond
			}
			if !found[o] {
				found[o] = true
				f.Cells++
			}
		})
	}
	return r
}
