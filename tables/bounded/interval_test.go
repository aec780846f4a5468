package bounded

import (
	"math"
	"math/big"
	"math/rand/v2"
	"testing"
)

const greatest = math.MaxFloat64

// TestPublishedIntervals: ends to the last bit, from the conformance tests of IEEE Std 1788-2015 that are published as
// ITF1788: sums from its libieeep1788_elem, products and quotients from its mpfi (the unit tests of the MPFI library).
func TestPublishedIntervals(t *testing.T) {
	tenth := 0x1.999999999999Ap-4
	for _, c := range []struct {
		name      string
		got, want Interval
	}{
		{"sum, both ends inexact", Exactly(0x1.FFFFFFFFFFFFp+0).Add(Exactly(tenth)), Interval{Lo: 0x1.0CCCCCCCCCCC4p+1, Hi: 0x1.0CCCCCCCCCCC5p+1}},
		{"difference, both ends inexact", Exactly(0x1.FFFFFFFFFFFFp+0).Sub(Exactly(tenth)), Interval{Lo: 0x1.E666666666656p+0, Hi: 0x1.E666666666657p+0}},
		{"sum of a wide one", Interval{Lo: -0x1.FFFFFFFFFFFFp+0, Hi: 0x1.FFFFFFFFFFFFp+0}.Add(Exactly(tenth)), Interval{Lo: -0x1.E666666666657p+0, Hi: 0x1.0CCCCCCCCCCC5p+1}},
		{"sum that overflows above", Interval{Lo: 1, Hi: greatest}.Add(Interval{Lo: 3, Hi: 4}), Interval{4, math.Inf(1), true}},
		{"sum that overflows below", Interval{Lo: -greatest, Hi: 2}.Add(Interval{Lo: -3, Hi: 4}), Interval{math.Inf(-1), 6, true}},
		{"sum of exact ends", Interval{Lo: 1, Hi: greatest}.Add(Exactly(0)), Interval{Lo: 1, Hi: greatest}},
		{"product, upper end exact", Interval{Lo: -0x1.71717p+60, Hi: -0x1.0000000000001p+52}.Mul(Exactly(-1.5)), Interval{Lo: 0x1.8000000000001p+52, Hi: 0x1.151514p+61}},
		{"product over zero", Interval{Lo: -0x1.5555555555554p+51, Hi: 0x1.0000000000001p+52}.Mul(Exactly(-1.5)), Interval{Lo: -0x1.8000000000002p+52, Hi: 0x1.ffffffffffffep+51}},
		{"product, turned round", Interval{Lo: 0x1.000000000001p+52, Hi: 0x1.1111111111111p+52}.Mul(Exactly(-2.125)), Interval{Lo: -0x1.2222222222223p+53, Hi: -0x1.1000000000011p+53}},
		{"quotient, upper end exact", Exactly(33.125).Div(Interval{Lo: -530, Hi: -496.875}), Interval{Lo: -0x11111111111112p-56, Hi: -0x1p-4}},
		{"quotient, lower end exact", Exactly(33.125).Div(Interval{Lo: 54, Hi: 265}), Interval{Lo: 0.125, Hi: 0x13a12f684bda13p-53}},
		{"quotient, both ends inexact", Exactly(33.125).Div(Interval{Lo: 52, Hi: 54}), Interval{Lo: 0x13a12f684bda12p-53, Hi: 0x14627627627628p-53}},
	} {
		if c.got != c.want {
			t.Errorf("%s: %v, want %v", c.name, c.got, c.want)
		}
	}
}

// TestPolynomialOfRump: S. M. Rump, "Algorithms for verified inclusions" (1988), from memory: at (77617, 33096) the
// polynomial is -54767/66192, and rounded arithmetic gives another sign.
func TestPolynomialOfRump(t *testing.T) {
	x, y := Exactly(77617), Exactly(33096)
	power := func(a Interval, n int) Interval {
		p := Exactly(1)
		for range n {
			p = p.Mul(a)
		}
		return p
	}
	inner := Exactly(11).Mul(power(x, 2)).Mul(power(y, 2)).Sub(power(y, 6)).Sub(Exactly(121).Mul(power(y, 4))).Sub(Exactly(2))
	f := Exactly(333.75).Mul(power(y, 6)).Add(power(x, 2).Mul(inner)).Add(Exactly(5.5).Mul(power(y, 8))).Add(x.Div(Exactly(2).Mul(y)))
	holds(t, "Rump's polynomial", f, big.NewRat(-54767, 66192))
	if f.Lo >= 0 || f.Hi <= 0 {
		t.Errorf("%v: eighteen digits cancel, so float64 cannot know the sign", f)
	}
}

// TestRecurrenceOfMullerAndKahan: x(n+1) = 111 - 1130/x(n) + 3000/(x(n) x(n-1)) from 11/2 and 61/11 is
// (6^(n+1) + 5^(n+1)) / (6^n + 5^n) and goes to 6; rounded arithmetic of any length goes to 100
// (J.-M. Muller, Arithmétique des ordinateurs, 1989; W. Kahan's lectures; both from memory).
func TestRecurrenceOfMullerAndKahan(t *testing.T) {
	before, now := Exactly(5.5), Exactly(61).Div(Exactly(11))
	five, six := big.NewInt(1), big.NewInt(1)
	for range 2 { // x(1) = (6^2 + 5^2) / (6 + 5)
		five.Mul(five, big.NewInt(5))
		six.Mul(six, big.NewInt(6))
	}
	for n := 2; n < 40 && !now.Undefined; n++ {
		holds(t, "the recurrence", now, new(big.Rat).SetFrac(new(big.Int).Add(six, five),
			new(big.Int).Add(new(big.Int).Div(six, big.NewInt(6)), new(big.Int).Div(five, big.NewInt(5)))))
		before, now = now, Exactly(111).Sub(Exactly(1130).Div(now)).Add(Exactly(3000).Div(now.Mul(before)))
		five.Mul(five, big.NewInt(5))
		six.Mul(six, big.NewInt(6))
	}
	if !now.Undefined {
		t.Errorf("%v after 40 steps: what rounding adds grows by 20 each step, so nothing can be known by then", now)
	}
}

func holds(t *testing.T, what string, a Interval, exact *big.Rat) {
	t.Helper()
	low, high := math.IsInf(a.Lo, -1), math.IsInf(a.Hi, 1)
	if !low && new(big.Rat).SetFloat64(a.Lo).Cmp(exact) > 0 || !high && new(big.Rat).SetFloat64(a.Hi).Cmp(exact) < 0 {
		t.Fatalf("%s: %v does not hold %s", what, a, exact.FloatString(30))
	}
}

// TestEndsAreTheNearest: both ends of every operation against exact rationals: none inside what it must hold, none
// further out than the next float, and none moved that is exact.
func TestEndsAreTheNearest(t *testing.T) {
	seed := rand.Uint64()
	t.Logf("seed %d", seed)
	r := rand.New(rand.NewPCG(seed, 0))
	number := func() float64 {
		switch r.IntN(4) {
		case 0:
			return float64(r.IntN(65) - 32)
		case 1:
			return float64(r.IntN(4001)-2000) / 16
		case 2:
			return r.NormFloat64() * math.Ldexp(1, r.IntN(200)-100)
		}
		return math.Float64frombits(math.Float64bits(1) + uint64(r.IntN(9)) - 4)
	}
	interval := func() Interval {
		a, b := number(), number()
		return Interval{Lo: min(a, b), Hi: max(a, b)}
	}
	for range 6000 {
		a, b := interval(), interval()
		for name, op := range map[string]struct {
			got   Interval
			exact func(z, x, y *big.Rat) *big.Rat
		}{
			"sum":        {a.Add(b), (*big.Rat).Add},
			"difference": {a.Sub(b), (*big.Rat).Sub},
			"product":    {a.Mul(b), (*big.Rat).Mul},
			"quotient":   {a.Div(b), (*big.Rat).Quo},
		} {
			if name == "quotient" && b.Holds(0) {
				if op.got != Whole() {
					t.Fatalf("%v / %v = %v, want all, undefined", a, b, op.got)
				}
				continue
			}
			var lo, hi *big.Rat
			for _, x := range []float64{a.Lo, a.Hi} {
				for _, y := range []float64{b.Lo, b.Hi} {
					z := op.exact(new(big.Rat), new(big.Rat).SetFloat64(x), new(big.Rat).SetFloat64(y))
					if lo == nil || z.Cmp(lo) < 0 {
						lo = z
					}
					if hi == nil || z.Cmp(hi) > 0 {
						hi = z
					}
				}
			}
			if op.got.Undefined || !nearest(op.got.Lo, lo, -1) || !nearest(op.got.Hi, hi, 1) {
				t.Fatalf("%s of %v and %v = %v, exactly %s to %s", name, a, b, op.got, lo.FloatString(40), hi.FloatString(40))
			}
		}
	}
}

// nearest tells whether an end is the first float at or beyond what is exact, going out.
func nearest(end float64, exact *big.Rat, side int) bool {
	if new(big.Rat).SetFloat64(end).Cmp(exact)*side < 0 {
		return false
	}
	inner := new(big.Rat).SetFloat64(math.Nextafter(end, math.Inf(-side)))
	return inner.Cmp(exact)*side < 0
}

// TestTheEdgesOfTheFormat: where the rest of an operation cannot be had, ends move out and what is lost is undefined.
func TestTheEdgesOfTheFormat(t *testing.T) {
	small := math.SmallestNonzeroFloat64
	for _, c := range []struct {
		name string
		got  Interval
		want Interval
	}{
		{"a product too small", Exactly(small).Mul(Exactly(0.25)), Interval{Lo: -small, Hi: small}},
		{"a product too great", Exactly(greatest).Mul(Exactly(-2)), Interval{math.Inf(-1), -greatest, true}},
		{"nothing times everything", Exactly(0).Mul(Whole()), Interval{0, 0, true}},
		{"everything less everything", Whole().Sub(Whole()), Whole()},
		{"what is no number", Exactly(math.NaN()), Whole()},
		{"zero over a number", Exactly(0).Div(Exactly(-3)), Interval{}},
		{"a number over what ends at zero", Exactly(1).Div(Interval{Lo: 0, Hi: 1}), Whole()},
		{"the lesser keeps what is undefined", Exactly(1).Min(Whole()), Interval{math.Inf(-1), 1, true}},
		{"the greater", Interval{Lo: 1, Hi: 4}.Max(Interval{Lo: 2, Hi: 3}), Interval{Lo: 2, Hi: 4}},
		{"both", Interval{Lo: 1, Hi: 2}.Hull(Exactly(7)), Interval{Lo: 1, Hi: 7}},
	} {
		if c.got != c.want {
			t.Errorf("%s: %v, want %v", c.name, c.got, c.want)
		}
	}
	huge := Exactly(0x1p1000).Mul(Exactly(0x1p-1000))
	if !huge.Holds(1) || huge.Undefined || huge.Hi-huge.Lo > 0x1p-50 {
		t.Errorf("2^1000 × 2^-1000 = %v", huge)
	}
}
