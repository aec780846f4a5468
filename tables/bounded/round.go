package bounded

import "math"

// What float64 arithmetic leaves out: each function gives the rounded result and the sign-true rest,
// NaN where the rest cannot be had (overflow, underflow), which rounds to both sides. Products are
// split by hand: a fused multiply-add would be an instruction that some machines lack.

const (
	splitter = 1<<27 + 1
	huge     = 0x1p990  // beyond it a split may overflow
	tiny     = 0x1p-900 // below it a rest may underflow
)

func sum(a, b float64) (s, rest float64) {
	s = a + b
	t := s - a
	return s, (a - (s - t)) + (b - t)
}

func product(a, b float64) (p, rest float64) {
	if a == 0 || b == 0 {
		return 0, 0
	}
	p = float64(a * b)
	if m := math.Abs(p); !(m < huge && m > tiny && math.Abs(a) < huge && math.Abs(b) < huge) {
		return p, math.NaN()
	}
	ah, al := split(a)
	bh, bl := split(b)
	rest = float64(ah*bh) - p
	rest += float64(ah * bl)
	rest += float64(al * bh)
	return p, rest + float64(al*bl)
}

func split(a float64) (high, low float64) {
	c := float64(splitter * a)
	high = c - (c - a)
	return high, a - high
}

// quotient is of a positive b.
func quotient(a, b float64) (q, rest float64) {
	if a == 0 {
		return 0, 0
	}
	q = a / b
	p, e := product(q, b)
	if math.Abs(a) < tiny {
		return q, math.NaN()
	}
	return q, (a - p) - e
}

// below and above are the nearest floats on that side of an exact x + rest.
func below(x, rest float64) float64 {
	if rest >= 0 {
		return x
	}
	if x != x {
		return math.Inf(-1)
	}
	return math.Nextafter(x, math.Inf(-1))
}

func above(x, rest float64) float64 {
	if rest <= 0 {
		return x
	}
	if x != x {
		return math.Inf(1)
	}
	return math.Nextafter(x, math.Inf(1))
}
