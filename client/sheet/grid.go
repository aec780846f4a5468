package sheet

import (
	"cmp"
	"fmt"
	"strings"

	"charm.land/lipgloss/v2"

	"witnessmark/tables/definition"
)

// point says a point of an axis with its number to five digits.
var point Number = func(a *definition.Axis, side string, v float64) string { return amount(Named(a, side), axisUnit(a), v) }

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
	heads, sides := breakpoints(Axis(def, 0), x, cols), breakpoints(Axis(def, 1), y, rows)
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
		fmt.Fprintf(b, "  across: %s", axisIn(def.X, "x"))
		if def.Y != nil {
			fmt.Fprintf(b, "; down: %s", axisIn(def.Y, "y"))
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

// axisIn is an axis in words, with what it is counted in.
func axisIn(a *definition.Axis, side string) string {
	return Named(a, side) + before(" in", axisUnit(a))
}

func breakpoints(a *definition.Axis, p []float64, n int) []string {
	out := make([]string, n)
	for i := range p {
		out[i] = cmp.Or(Label(a, p[i]), fine(p[i]))
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
