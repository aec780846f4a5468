package sheet

import (
	"bytes"
	"cmp"
	"fmt"
	"math"
	"strings"
	"unicode/utf8"

	"charm.land/lipgloss/v2"

	"witnessmark/tables/changed"
	"witnessmark/tables/definition"
	"witnessmark/tables/printed"
	"witnessmark/tables/said"
)

// point says a point of an axis with its number to five digits.
var point Number = func(a *definition.Axis, side string, v float64) string { return amount(Named(a, side), axisUnit(a), v) }

// grid is the cells of one printed rectangle, row by row.
type grid struct {
	text  []byte // of all of them
	cells []cell
}

// cell is one place of a printed grid.
type cell struct {
	end, wide int  // where its text ends in the grid's, and its columns
	sign      int8 // of the change; 0 is unchanged
	words     bool // its text is not digits and our own signs alone
}

func (g *grid) clear() { g.text, g.cells = g.text[:0], g.cells[:0] }

// put ends a cell whose text was appended.
func (g *grid) put(sign int8, words bool) {
	from := 0
	if n := len(g.cells); n > 0 {
		from = g.cells[n-1].end
	}
	wide := 0
	if words {
		wide = lipgloss.Width(string(g.text[from:]))
	} else {
		wide = utf8.RuneCount(g.text[from:])
	}
	g.cells = append(g.cells, cell{len(g.text), wide, sign, words})
}

// add puts an unchanged cell.
func (g *grid) add(text string) {
	g.text = append(g.text, text...)
	g.put(0, true)
}

// number puts an unchanged cell that is a number.
func (g *grid) number(n *printed.Numbers, v float64) {
	g.text = n.Append(g.text, v)
	g.put(0, false)
}

// change puts "base→candidate" with an arrow and, on a terminal, a colour. Where same is true, what reads alike is no change.
func (g *grid) change(n *printed.Numbers, base, candidate changed.Value, delta float64, same bool) {
	from, words := len(g.text), base.Is == changed.Word || candidate.Is == changed.Word
	g.text = appendValue(g.text, n, base)
	middle := len(g.text)
	g.text = append(g.text, "→"...)
	to := len(g.text)
	g.text = appendValue(g.text, n, candidate)
	switch {
	case same && bytes.Equal(g.text[from:middle], g.text[to:]):
		g.text = g.text[:middle]
		g.put(0, words)
	case delta > 0:
		g.text = append(g.text, " ▲"...)
		g.put(1, words)
	case delta < 0:
		g.text = append(g.text, " ▼"...)
		g.put(-1, words)
	default:
		g.text = append(g.text, " ◆"...)
		g.put(2, words)
	}
}

func appendValue(text []byte, n appender, v changed.Value) []byte {
	switch {
	case v.Is == changed.Word:
		return append(text, v.Word...)
	case v.Is == changed.None:
		return append(text, NoValue...)
	case math.IsInf(v.Number, 0): // as messages say it
		return append(text, said.Number(v.Number).GetStringValue()...)
	}
	return n.Append(text, v.Number)
}

// appender writes finite numbers, and NaN.
type appender interface {
	Append(text []byte, v float64) []byte
}

// writeGrid prints what is in the grid with its breakpoints, in blocks of columns that fit the width.
func writeGrid(b *paper, def *definition.Table, x, y []float64, cols, width int) {
	g := &b.grid
	rows := len(g.cells) / cols
	heads, sides := breakpoints(Axis(def, 0), x, cols), breakpoints(Axis(def, 1), y, rows)
	wide, side := widest(heads), widest(sides)
	for i := range g.cells {
		wide = max(wide, g.cells[i].wide)
	}
	if def != nil && def.X != nil {
		fmt.Fprintf(b, "  across: %s", axisIn(def.X, "x"))
		if def.Y != nil {
			fmt.Fprintf(b, "; down: %s", axisIn(def.Y, "y"))
		}
		fmt.Fprintln(b)
	}
	for i, s := range sides {
		sides[i] = bold.Render(fmt.Sprintf("%*s", side, s))
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
			b.WriteString("  ")
			b.WriteString(sides[r])
			for i := r*cols + from; i < r*cols+to; i++ {
				g.write(b, i, wide)
			}
			b.WriteByte('\n')
		}
		b.turn(false)
	}
}

func widest(texts []string) (wide int) {
	for _, s := range texts {
		wide = max(wide, lipgloss.Width(s))
	}
	return wide
}

// blanks are enough for most cells.
var blanks = strings.Repeat(" ", 64)

// write prints a cell at the right end of its column.
func (g *grid) write(b *paper, i, wide int) {
	c, from := &g.cells[i], 0
	if i > 0 {
		from = g.cells[i-1].end
	}
	text, free := g.text[from:c.end], wide-c.wide+2
	for ; free > len(blanks); free -= len(blanks) {
		b.WriteString(blanks)
	}
	b.WriteString(blanks[:free])
	style := &up
	switch {
	case c.sign == 0 || c.sign == 2:
		b.Write(text)
		return
	case c.sign < 0:
		style = &down
	}
	if c.words {
		b.WriteString(style.Render(string(text)))
		return
	}
	b.WriteString(style.open)
	b.Write(text)
	b.WriteString(style.close)
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
