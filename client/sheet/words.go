package sheet

import (
	"cmp"
	"strconv"
	"strings"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/definition"
	"witnessmark/tables/said"
)

// NoValue is how a code that is no value is printed.
const NoValue = "—"

// Unit is what numbers are counted in, a UCUM code or free text, behind a blank; empty for a ratio.
func Unit(code, text string) string {
	u := strings.Join(strings.Fields(plainText(cmp.Or(code, text))), " ")
	if u == "1" {
		return ""
	}
	return before(" ", u)
}

// Axis is a table's i-th axis, the fastest first; nil where it has none.
func Axis(t *definition.Table, i int) *definition.Axis {
	if t == nil || i >= len(t.Axes) {
		return nil
	}
	return t.Axes[i]
}

// Side is what an axis of a table is called for short, the fastest first, as in the id of one that somebody gave none.
func Side(i int) string {
	if i < 3 {
		return "xyz"[i : i+1]
	}
	return strconv.Itoa(i + 1)
}

// Named is an axis in words: what it measures, else its id where somebody gave it one, else its side of the table.
func Named(a *definition.Axis, side string) string {
	switch {
	case a == nil:
	case a.Quantity != "":
		return Words(a.Quantity)
	case a.ID != "" && !strings.HasSuffix(a.ID, "."+side):
		return Words(a.ID)
	}
	return side
}

// Words is the name of a quantity as it is said.
func Words(quantity string) string { return strings.ReplaceAll(plainText(quantity), "_", " ") }

// Label is the name of a point of an axis; empty where it has none.
func Label(a *definition.Axis, v float64) string {
	if i := int(v); a != nil && float64(i) == v && i >= 0 && i < len(a.Labels) {
		return plainText(a.Labels[i])
	}
	return ""
}

// Number says a point of an axis, which may be nil, that is a number, as in "engine speed 4500 1/min".
type Number func(a *definition.Axis, side string, v float64) string

// Along is a point of an axis in words: by its label, as in "gear third", or its number.
func (n Number) Along(a *definition.Axis, side string, v float64) string {
	if label := Label(a, v); label != "" {
		return Named(a, side) + " " + label
	}
	return n(a, side, v)
}

// Placed is where a report says that something lies, but for numbers along x and y.
type Placed interface {
	GetXLabel() string
	GetYLabel() string
	GetSlice() *calibrationv1.Slice
}

// Where is an operating point in the words of the table's axes; what is not given is left out.
func (n Number) Where(t *definition.Table, p Placed, x, y *float64) string {
	var words []string
	for i, at := range []struct {
		label string
		v     *float64
	}{{p.GetXLabel(), x}, {p.GetYLabel(), y}} {
		switch a := Axis(t, i); {
		case at.label != "":
			words = append(words, Named(a, Side(i))+" "+at.label)
		case at.v != nil:
			words = append(words, n.Along(a, Side(i), *at.v))
		}
	}
	return strings.Join(append(words, n.slice(t, p.GetSlice())...), ", ")
}

// slice is where a slice of a block lies on the axes beyond y; none of another table.
func (n Number) slice(t *definition.Table, s *calibrationv1.Slice) (words []string) {
	for i, at := range s.GetAt() {
		a, side := Axis(t, i+2), Side(i+2)
		if v, number := said.NumberIn(at); number {
			words = append(words, n.Along(a, side, v))
		} else {
			words = append(words, Named(a, side)+" "+plainText(at.GetStringValue()))
		}
	}
	return words
}

// Place is where a slice of a decoded block lies.
func (n Number) Place(s *definition.Slice) []string {
	words := make([]string, len(s.At))
	for i, at := range s.At {
		words[i] = n.Along(at.Axis, Side(i+2), at.Point)
	}
	return words
}
