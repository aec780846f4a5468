package view

import (
	"html"
	"math"
	"strconv"
	"strings"

	"witnessmark/client/sheet"
	"witnessmark/tables/definition"
	"witnessmark/tables/surface"
)

// decimals is how many digits after the point a number is shown with; -1 for the shortest form.
type decimals int

// places is what one raw step of stored values needs.
func places(c *definition.Cells) decimals {
	if c == nil || !c.Conv.Affine() || c.Float {
		return -1
	}
	return digitsOf(c.Conv.Factor, c.Conv.Offset)
}

// digitsOf is what a step from a start needs; -1 where no number of digits does.
func digitsOf(step, start float64) decimals {
	for d := 0; d <= 4; d++ {
		if whole(step, d) && whole(start, d) {
			return decimals(d)
		}
	}
	// Not a short decimal fraction: enough digits that neighbouring steps print apart.
	if s := math.Abs(step); s > 0 && s < 1 {
		return decimals(min(9, int(math.Ceil(-math.Log10(s)))))
	}
	return -1
}

func whole(v float64, digits int) bool {
	v *= math.Pow10(digits)
	return math.Abs(v-math.Round(v)) <= 1e-9*math.Max(1, math.Abs(v))
}

// text is a number as it is read: a real minus, and signs for what is no number.
func (d decimals) text(v float64) string {
	switch {
	case math.IsNaN(v):
		return "no number"
	case math.IsInf(v, 0):
		return minus(strings.Replace(strconv.FormatFloat(v, 'f', 0, 64), "Inf", "∞", 1))
	case d < 0:
		return fine(v)
	}
	s := strconv.FormatFloat(v, 'f', int(d), 64)
	if strings.Trim(s, "-0.") == "" {
		s = strings.TrimPrefix(s, "-") // a zero has no sign
		if v != 0 {
			return fine(v) // what is not zero does not look like zero
		}
	}
	return minus(s)
}

// signed is a difference: always with its sign, but for zero.
func (d decimals) signed(v float64) string {
	s := d.text(v)
	if v > 0 && !strings.HasPrefix(s, "+") {
		return "+" + s
	}
	return s
}

// room is rounded down, so that it never shows more room than there is.
func (d decimals) room(v float64) string {
	if d < 0 || !surface.Finite(v) {
		return d.text(v)
	}
	scale := math.Pow10(int(d))
	down := math.Floor(float64(v*scale)+1e-9) / scale
	if v < 0 && down >= 0 {
		return fine(v)
	}
	return d.text(down)
}

// round is a number to these digits.
func (d decimals) round(v float64) float64 {
	if d < 0 {
		return v
	}
	return math.Round(v*math.Pow10(int(d))) / math.Pow10(int(d))
}

// near is a number that need not be one of the table's own: to a tenth of its digit where that does not hold it.
func (d decimals) near(v float64) string {
	if d < 0 || !surface.Finite(v) || whole(v, int(d)) {
		return d.text(v)
	}
	return (d + 1).text(v)
}

// fine is six significant digits at most.
func fine(v float64) string { return minus(strconv.FormatFloat(v, 'g', 6, 64)) }

func minus(s string) string { return strings.Replace(s, "-", "−", 1) }

// valueAt is a cell as text: its number, its label, or that it holds no value.
func valueAt(d *surface.Decoded, i int) string {
	c := d.Table.Cells
	switch {
	case d.Off != nil && d.Off[i]:
		return sheet.NoValue
	case d.Values == nil:
		return c.Conv.Label(c.Int(d.Bits[i]))
	}
	return places(c).text(d.Values[i])
}

func esc(s string) string { return html.EscapeString(s) }
