package bounded

import "math"

// Interval is every number from Lo to Hi, both included. Undefined: some point of what it encloses may
// have no finite value. Operations round outwards, and leave exact ends as they are.
type Interval struct {
	Lo, Hi    float64
	Undefined bool
}

// Exactly is the interval of one number.
func Exactly(x float64) Interval { return ends(x, x, false) }

// Whole is all that can be said of what may have no finite value.
func Whole() Interval { return Interval{math.Inf(-1), math.Inf(1), true} }

// ends makes an interval of computed ends: one that is not finite makes it undefined.
func ends(lo, hi float64, undefined bool) Interval {
	if lo-lo == 0 && hi-hi == 0 {
		return Interval{lo, hi, undefined}
	}
	if math.IsNaN(lo) || math.IsNaN(hi) {
		return Whole()
	}
	return Interval{lo, hi, true}
}

// Holds tells whether x lies in it.
func (a Interval) Holds(x float64) bool { return a.Lo <= x && x <= a.Hi }

// IsZero tells whether it is the number 0 alone.
func (a Interval) IsZero() bool { return a.Lo == 0 && a.Hi == 0 && !a.Undefined }

// Middle is a float of it, halfway as near as rounding allows.
func (a Interval) Middle() float64 { return min(max(a.Lo+float64((a.Hi-a.Lo)/2), a.Lo), a.Hi) }

// Neg is −a.
func (a Interval) Neg() Interval { return Interval{-a.Hi, -a.Lo, a.Undefined} }

// Add is a + b.
func (a Interval) Add(b Interval) Interval {
	return ends(below(sum(a.Lo, b.Lo)), above(sum(a.Hi, b.Hi)), a.Undefined || b.Undefined)
}

// Sub is a − b, as if they did not depend on each other.
func (a Interval) Sub(b Interval) Interval { return a.Add(b.Neg()) }

// Mul is a × b.
func (a Interval) Mul(b Interval) Interval {
	if a.Hi <= 0 && a.Lo < 0 {
		return a.Neg().Mul(b).Neg()
	}
	if b.Hi <= 0 && b.Lo < 0 {
		return a.Mul(b.Neg()).Neg()
	}
	lo, hi := below(product(a.Lo, b.Lo)), above(product(a.Hi, b.Hi))
	switch {
	case a.Lo >= 0 && b.Lo < 0:
		lo = below(product(a.Hi, b.Lo))
	case a.Lo < 0 && b.Lo >= 0:
		lo = below(product(a.Lo, b.Hi))
	case a.Lo < 0:
		lo = min(below(product(a.Lo, b.Hi)), below(product(a.Hi, b.Lo)))
		hi = max(hi, above(product(a.Lo, b.Lo)))
	}
	return ends(lo, hi, a.Undefined || b.Undefined)
}

// Div is a / b: the whole line, undefined, where b holds zero.
func (a Interval) Div(b Interval) Interval {
	if !(b.Lo > 0) {
		if b.Hi < 0 {
			return a.Neg().Div(b.Neg())
		}
		return Whole()
	}
	under, over := b.Hi, b.Lo
	if a.Lo < 0 {
		under = b.Lo
	}
	if a.Hi < 0 {
		over = b.Hi
	}
	return ends(below(quotient(a.Lo, under)), above(quotient(a.Hi, over)), a.Undefined || b.Undefined)
}

// Min is the lesser of a number of a and one of b.
func (a Interval) Min(b Interval) Interval {
	return Interval{min(a.Lo, b.Lo), min(a.Hi, b.Hi), a.Undefined || b.Undefined}
}

// Max is the greater of a number of a and one of b.
func (a Interval) Max(b Interval) Interval {
	return Interval{max(a.Lo, b.Lo), max(a.Hi, b.Hi), a.Undefined || b.Undefined}
}

// Hull is the least interval that holds both.
func (a Interval) Hull(b Interval) Interval {
	return Interval{min(a.Lo, b.Lo), max(a.Hi, b.Hi), a.Undefined || b.Undefined}
}
