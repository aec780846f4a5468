package sheet

import (
	"math"
	"strconv"

	"witnessmark/tables/definition"
)

// decimals is how many digits after the point one raw step needs; -1 for the shortest form.
type decimals int

func numbers(t *definition.Table) decimals {
	if t == nil {
		return -1
	}
	return stored(t.Cells)
}

func stored(c *definition.Cells) decimals {
	if c == nil || !c.Conv.Affine() || c.Float {
		return -1
	}
	return digits(c.Conv.Factor, c.Conv.Offset)
}

func digits(steps ...float64) decimals {
	for d := 0; d <= 3; d++ {
		whole := true
		for _, s := range steps {
			v := s * math.Pow10(d)
			whole = whole && math.Abs(v-math.Round(v)) <= 1e-9*math.Max(1, math.Abs(v))
		}
		if whole {
			return decimals(d)
		}
	}
	// Not a decimal fraction: enough digits that neighbouring steps print apart.
	if s := math.Abs(steps[0]); s > 0 && s < 1 {
		return decimals(min(9, int(math.Ceil(-math.Log10(s)))))
	}
	return -1
}

func (d decimals) text(v float64) string { return string(d.Append(nil, v)) }

// Append appends that text.
func (d decimals) Append(text []byte, v float64) []byte {
	if d < 0 || math.IsInf(v, 0) || math.IsNaN(v) {
		return append(text, fine(v)...)
	}
	return strconv.AppendFloat(text, v, 'f', int(d), 64)
}

// near is a value that lies between two steps, to a tenth of one.
func (d decimals) near(v float64) string {
	if d < 0 || math.IsInf(v, 0) || math.IsNaN(v) {
		return fine(v)
	}
	tenth := math.Pow10(int(d) + 1)
	if r := math.Round(v*tenth) / tenth; r != 0 || v == 0 {
		return strconv.FormatFloat(r, 'f', -1, 64)
	}
	return fine(v) // what is not zero does not look like zero
}

// place is where something lies along an axis.
func place(v float64) string {
	if math.Abs(v) >= 1e5 {
		return fine(v)
	}
	return strconv.FormatFloat(v, 'g', 5, 64)
}

// fine is the shortest form of six significant digits.
func fine(v float64) string { return strconv.FormatFloat(v, 'g', 6, 64) }

func grouped(n uint32) string {
	s := strconv.FormatUint(uint64(n), 10)
	for i := len(s) - 3; i > 0; i -= 3 {
		s = s[:i] + " " + s[i:]
	}
	return s
}

func signed(n decimals, v float64) string { return plus(n.text(v), v) }

// spread says how far something changed: from where to where, or by what where that is the same.
func spread(n decimals, from, to float64) string {
	low, high := signed(n, from), signed(n, to)
	if low == high {
		return low
	}
	return low + " to " + high
}

// plus has a number say that it is above 0.
func plus(text string, v float64) string {
	if v > 0 {
		return "+" + text
	}
	return text
}
