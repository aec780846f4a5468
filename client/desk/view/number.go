package view

import (
	"html"
	"math"
	"slices"
	"strconv"
	"strings"

	"google.golang.org/protobuf/types/known/structpb"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
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

// unitOf is a unit behind a number; a ratio has none.
func unitOf(u string) string {
	if u == "" || u == "1" {
		return ""
	}
	return " " + u
}

// unitIn is what a table or an axis is counted in, behind a number: a UCUM code or free text.
func unitIn(unit, text string) string {
	return unitOf(orElse(unit, strings.Join(strings.Fields(text), " ")))
}

func tableUnit(t *definition.Table) string { return unitIn(t.Unit, t.UnitText) }

// axisUnit is what an axis is counted in; empty where there is none.
func axisUnit(a *definition.Axis) string {
	if a == nil {
		return ""
	}
	return strings.TrimSpace(unitIn(a.Unit, a.UnitText))
}

func words(quantity string) string { return strings.ReplaceAll(quantity, "_", " ") }

// named is an axis in words: what it measures, else its id where somebody gave it one, else its side of the table.
func named(a *definition.Axis, side string) string {
	switch {
	case a == nil:
		return ""
	case a.Quantity != "":
		return words(a.Quantity)
	case a.ID != "" && !strings.HasSuffix(a.ID, "."+side):
		return words(a.ID)
	}
	return side
}

// side is what an axis of a table is called for short, the fastest first.
func side(i int) string {
	if i < 3 {
		return "xyz"[i : i+1]
	}
	return strconv.Itoa(i + 1)
}

// axisName is an axis as a heading.
func axisName(a *definition.Axis, side string) string {
	if u := axisUnit(a); u != "" {
		return named(a, side) + ", " + u
	}
	return named(a, side)
}

// along is one coordinate of an operating point, as in "engine speed 4500 1/min" or "gear third".
func along(a *definition.Axis, side string, v float64) string {
	name, unit, n := side, "", decimals(-1)
	if a != nil {
		name, n = named(a, side), places(a.Cells)
		if i := int(v); a.Labels != nil && float64(i) == v && i >= 0 && i < len(a.Labels) {
			return name + " " + a.Labels[i]
		}
		if unit = axisUnit(a); unit != "" {
			unit = " " + unit
		}
	}
	if whole(v, 0) {
		n = 0
	}
	return name + " " + n.near(v) + unit
}

// axisOf is the i-th axis of a table, the fastest first; nil where there is none.
func axisOf(t *definition.Table, i int) *definition.Axis {
	if t == nil || i >= len(t.Axes) {
		return nil
	}
	return t.Axes[i]
}

// point is an operating point; the parts that are not given are left out.
func point(t *definition.Table, x, y *float64) string {
	var out []string
	for i, v := range []*float64{x, y} {
		if v != nil {
			out = append(out, along(axisOf(t, i), side(i), *v))
		}
	}
	return strings.Join(out, ", ")
}

// where is the operating point of a worst point: by its breakpoints, by the names of those that have one, and by its slice.
func where(t *definition.Table, w *calibrationv1.Worst) string {
	var out []string
	if at := point(t, w.X, w.Y); at != "" {
		out = append(out, at)
	}
	for i, label := range []*string{w.XLabel, w.YLabel} {
		if label != nil {
			out = slices.Insert(out, min(i, len(out)), orElse(named(axisOf(t, i), side(i)), side(i))+" "+*label)
		}
	}
	return strings.Join(append(out, ofSlice(t, w.GetSlice())...), ", ")
}

// ofSlice is where a report's slice lies along the axes beyond y.
func ofSlice(t *definition.Table, s *calibrationv1.Slice) (out []string) {
	for i, at := range s.GetAt() {
		a, name := axisOf(t, i+2), side(i+2)
		if v, ok := numberOf(at); ok {
			out = append(out, along(a, name, v))
		} else {
			out = append(out, orElse(named(a, name), name)+" "+at.GetStringValue())
		}
	}
	return out
}

// headings are breakpoints as they stand over columns; one empty heading where there is no axis.
func headings(a *definition.Axis, points []float64, n int) []string {
	out := make([]string, n)
	if a == nil {
		return out
	}
	if a.Labels != nil {
		for i := range min(n, len(points)) {
			out[i] = a.Labels[int(points[i])]
		}
		return out
	}
	d := places(a.Cells)
	for short := decimals(0); short < d; short++ { // 600, not 600.00, where no breakpoint needs more
		if !slices.ContainsFunc(points, func(p float64) bool { return surface.Finite(p) && !whole(p, int(short)) }) {
			d = short
		}
	}
	for i := range out {
		if i < len(points) {
			out[i] = d.text(points[i])
		}
	}
	return out
}

// noValue is how a code that is no value is printed.
const noValue = "—"

// valueAt is a cell as text: its number, its label, or that it holds no value.
func valueAt(d *surface.Decoded, i int) string {
	c := d.Table.Cells
	switch {
	case d.Off != nil && d.Off[i]:
		return noValue
	case d.Values == nil:
		return c.Conv.Label(c.Int(d.Bits[i]))
	}
	return places(c).text(d.Values[i])
}

func esc(s string) string { return html.EscapeString(s) }

// numberOf is a number of a report; one that is not finite is a string there.
func numberOf(v *structpb.Value) (float64, bool) {
	switch k := v.GetKind().(type) {
	case *structpb.Value_NumberValue:
		return k.NumberValue, true
	case *structpb.Value_StringValue:
		switch k.StringValue {
		case "NaN":
			return math.NaN(), true
		case "Infinity":
			return math.Inf(1), true
		case "-Infinity":
			return math.Inf(-1), true
		}
	}
	return 0, false
}
