package sheet

import (
	"fmt"
	"strings"

	"charm.land/lipgloss/v2"
	"google.golang.org/protobuf/types/known/structpb"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/definition"
)

// placed is where a report says that something lies.
type placed interface {
	GetX() float64
	GetY() float64
	GetXLabel() string
	GetYLabel() string
	GetSlice() *calibrationv1.Slice
}

// where is an operating point in the words of the table's axes.
func where(t *definition.Table, p placed, x, y *float64) string {
	var s []string
	for i, side := range []struct {
		name, label string
		v           *float64
	}{{"x", p.GetXLabel(), x}, {"y", p.GetYLabel(), y}} {
		switch a := axisOf(t, i); {
		case side.label != "":
			s = append(s, named(a, side.name)+" "+side.label)
		case side.v != nil:
			s = append(s, along(a, side.name, *side.v))
		}
	}
	return strings.Join(append(s, sliceWords(t, p.GetSlice())...), ", ")
}

// axisOf is a table's i-th axis, the fastest first; nil where it has none.
func axisOf(t *definition.Table, i int) *definition.Axis {
	switch {
	case t == nil:
		return nil
	case i < len(t.Axes):
		return t.Axes[i]
	}
	return nil
}

// named is an axis in words: what it measures, else its id, else its side of the table.
func named(a *definition.Axis, side string) string {
	if a == nil {
		return side
	}
	return inWords(firstOf(a.Quantity, a.ID))
}

func along(a *definition.Axis, side string, v float64) string {
	if a == nil {
		return amount(side, "", v)
	}
	if i := int(v); float64(i) == v && i >= 0 && i < len(a.Labels) {
		return named(a, side) + " " + plainText(a.Labels[i])
	}
	return amount(firstOf(a.Quantity, a.ID), axisIn(a), v)
}

// sliceWords is where a slice of a block lies on the axes beyond y; none of another table.
func sliceWords(t *definition.Table, slice *calibrationv1.Slice) (words []string) {
	for i, at := range slice.GetAt() {
		a, side := axisOf(t, i+2), fmt.Sprintf("axis %d", i+3)
		if v, number := at.GetKind().(*structpb.Value_NumberValue); number {
			words = append(words, along(a, side, v.NumberValue))
		} else {
			words = append(words, named(a, side)+" "+plainText(at.GetStringValue()))
		}
	}
	return words
}

// placeWords is where a slice of a decoded block lies.
func placeWords(s *definition.Slice) []string {
	words := make([]string, len(s.At))
	for i, at := range s.At {
		if at.Label != "" {
			words[i] = named(at.Axis, "") + " " + plainText(at.Label)
		} else {
			words[i] = along(at.Axis, "", at.Point)
		}
	}
	return words
}

// axisIn is what an axis is counted in, a UCUM code or free text.
func axisIn(a *definition.Axis) string { return plainText(firstOf(a.Unit, a.UnitText)) }

// cell is one place of a printed grid.
type cell struct {
	text string
	sign int // of the change; 0 is unchanged
}

// change is "base>candidate" with an arrow and, on a terminal, a colour.
func change(base, candidate string, delta float64) cell {
	switch {
	case delta > 0:
		return cell{base + "→" + candidate + " ▲", 1}
	case delta < 0:
		return cell{base + "→" + candidate + " ▼", -1}
	}
	return cell{base + "→" + candidate + " ◆", 2}
}

// writeGrid prints rows and columns with their breakpoints, in blocks of columns that fit the width.
func writeGrid(b *strings.Builder, def *definition.Table, x, y []float64, rows, cols int, at func(r, c int) cell, width int) {
	heads, sides := breakpoints(axisOf(def, 0), x, cols), breakpoints(axisOf(def, 1), y, rows)
	wide := 0
	for r := range rows {
		for c := range cols {
			wide = max(wide, lipgloss.Width(at(r, c).text), lipgloss.Width(heads[c]))
		}
	}
	side := 0
	for _, s := range sides {
		side = max(side, lipgloss.Width(s))
	}
	if def != nil && def.X != nil {
		fmt.Fprintf(b, "  across: %s", inUnit(named(def.X, "x"), axisIn(def.X)))
		if def.Y != nil {
			fmt.Fprintf(b, "; down: %s", inUnit(named(def.Y, "y"), axisIn(def.Y)))
		}
		fmt.Fprintln(b)
	}
	block := max(1, (width-4-side)/(wide+2))
	for from := 0; from < cols; from += block {
		to := min(cols, from+block)
		if x != nil {
			fmt.Fprintf(b, "  %*s", side, "")
			for c := from; c < to; c++ {
				fmt.Fprintf(b, "  %s", bold.Render(fmt.Sprintf("%*s", wide, heads[c])))
			}
			fmt.Fprintln(b)
		}
		for r := range rows {
			fmt.Fprintf(b, "  %s", bold.Render(fmt.Sprintf("%*s", side, sides[r])))
			for c := from; c < to; c++ {
				fmt.Fprintf(b, "  %s", at(r, c).render(wide))
			}
			fmt.Fprintln(b)
		}
	}
}

// inUnit is a quantity in words, with what it is counted in.
func inUnit(quantity, unit string) string {
	if quantity = inWords(quantity); unit == "" || unit == "1" {
		return quantity
	}
	return quantity + " in " + unit
}

// inWords is the name of a quantity as it is said.
func inWords(quantity string) string { return strings.ReplaceAll(plainText(quantity), "_", " ") }

func breakpoints(a *definition.Axis, p []float64, n int) []string {
	out := make([]string, n)
	for i := range p {
		if k := int(p[i]); a != nil && a.Labels != nil && k < len(a.Labels) {
			out[i] = plainText(a.Labels[k])
		} else {
			out[i] = fine(p[i])
		}
	}
	return out
}

func (c cell) render(wide int) string {
	pad := strings.Repeat(" ", max(0, wide-lipgloss.Width(c.text)))
	switch c.sign {
	case 1:
		return pad + up.Render(c.text)
	case -1:
		return pad + down.Render(c.text)
	}
	return pad + c.text
}
