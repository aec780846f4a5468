package sheet

import (
	"fmt"
	"strings"

	"charm.land/lipgloss/v2"

	"witnessmark/tables/definition"
)

// point is an operating point in the words of the table's axes.
func point(t *definition.Table, x, y *float64) string {
	var s []string
	if x != nil {
		s = append(s, along(t, false, *x))
	}
	if y != nil {
		s = append(s, along(t, true, *y))
	}
	return strings.Join(s, ", ")
}

func along(t *definition.Table, isY bool, v float64) string {
	name, u := "x", ""
	if isY {
		name = "y"
	}
	if t != nil {
		a := t.X
		if isY {
			a = t.Y
		}
		if a != nil {
			name, u = a.Quantity, a.Unit
		}
	}
	return amount(name, u, v)
}

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
	heads, sides := breakpoints(x, cols), breakpoints(y, rows)
	wide := 0
	for r := range rows {
		for c := range cols {
			wide = max(wide, lipgloss.Width(at(r, c).text), len(heads[c]))
		}
	}
	side := 0
	for _, s := range sides {
		side = max(side, len(s))
	}
	if def != nil && def.X != nil {
		fmt.Fprintf(b, "  across: %s", inUnit(def.X.Quantity, def.X.Unit))
		if def.Y != nil {
			fmt.Fprintf(b, "; down: %s", inUnit(def.Y.Quantity, def.Y.Unit))
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

func breakpoints(p []float64, n int) []string {
	out := make([]string, n)
	for i := range p {
		out[i] = fine(p[i])
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
