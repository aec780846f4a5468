package view

import (
	"fmt"
	"strings"
	"unicode/utf8"

	"witnessmark/tables/definition"
)

// The widths, in digits, that a column can have.
const narrowest, widest = 2, 16

// cell is what one place of a grid shows.
type cell struct {
	text string
	step int    // of the scale
	mark string // up, down or other where it changed
	over bool   // beyond a limit
}

// pane is one of the grids that stand side by side.
type pane struct {
	name, title, note string
	cells             []cell   // row-major
	xs, ys            []string // its own headings, where they are not the quad's
}

// quad is several grids on the same breakpoints, under one cursor.
type quad struct {
	id       string
	x, y     *definition.Axis // nil where there is none
	xs, ys   []string         // headings
	nx, ny   int
	panes    []pane
	history  []int // per cell, an index into told; nil for none
	told     []string
	row, col int // where the cursor stands first
	unit     string
}

// width is the class of the columns, wide enough for every number and heading.
func (q *quad) width() int {
	w := narrowest
	for _, p := range q.panes {
		for _, c := range p.cells {
			n := utf8.RuneCountInString(c.text)
			if c.mark != "" {
				n++
			}
			w = max(w, n)
		}
	}
	for _, h := range q.xs {
		w = max(w, utf8.RuneCountInString(h))
	}
	return min(w, widest)
}

// arrangement is the class that says how many grids stand side by side on a wide page, and how small
// the figures are where even one grid is wide.
func (q *quad) arrangement(width int) string {
	switch digits := float64(q.nx+1) * (float64(width) + 1.5); {
	case digits <= 34:
		return "a4"
	case digits <= 70:
		return "a2"
	case digits <= 145:
		return "a1"
	}
	return "a1" + tight(q.nx, width)
}

// The classes k7 to k60 say for how many digits across, in twenties, a printed grid must find room.
const fewest, fullest = 7, 60

func tight(columns, width int) string {
	digits := (columns + 1) * (width + 1)
	return fmt.Sprintf(" tight k%d", min(max((digits+19)/20, fewest), fullest))
}

func (q *quad) write(b *strings.Builder) {
	w := q.width()
	fmt.Fprintf(b, `<div class="quad %s w%d" data-quad data-x="%s" data-y="%s" data-xu="%s" data-yu="%s" data-u="%s">`, q.arrangement(w), w,
		esc(quantityOf(q.x)), esc(quantityOf(q.y)), esc(axisUnit(q.x)), esc(axisUnit(q.y)), esc(strings.TrimSpace(unitOf(q.unit))))
	for i := range q.panes {
		q.writePane(b, &q.panes[i])
	}
	b.WriteString(`</div>`)
}

func quantityOf(a *definition.Axis) string {
	if a == nil {
		return ""
	}
	return words(a.Quantity)
}

func axisUnit(a *definition.Axis) string {
	if a == nil {
		return ""
	}
	return strings.TrimSpace(unitOf(a.Unit))
}

func (q *quad) writePane(b *strings.Builder, p *pane) {
	id := q.id + "-" + p.name
	fmt.Fprintf(b, `<figure class="pane"><figcaption id="%s"><b>%s</b>`, id, esc(p.title))
	if p.note != "" {
		fmt.Fprintf(b, ` <span class="small">%s</span>`, esc(p.note))
	}
	fmt.Fprintf(b, `</figcaption><div class="wide"><table role="grid" class="heat" aria-labelledby="%s" data-pane="%s">`, id, esc(p.name))
	xs, ys := q.xs, q.ys
	if p.xs != nil {
		xs, ys = p.xs, p.ys
	}
	writeHead(b, q.x, xs, q.y != nil)
	b.WriteString("<tbody>")
	for row := range q.ny {
		b.WriteString("<tr>")
		if q.y != nil {
			fmt.Fprintf(b, `<th scope="row">%s</th>`, esc(ys[row]))
		}
		for col := range q.nx {
			i := row*q.nx + col
			more := ` tabindex="-1"`
			if row == q.row && col == q.col {
				more = ` tabindex="0" aria-selected="true"`
			}
			if p.name == "candidate" && q.history != nil {
				more += fmt.Sprintf(` data-h="%d"`, q.history[i])
			}
			p.cells[i].write(b, more)
		}
		b.WriteString("</tr>")
	}
	b.WriteString("</tbody></table></div></figure>")
}

func writeHead(b *strings.Builder, x *definition.Axis, xs []string, corner bool) {
	if x == nil {
		return
	}
	b.WriteString("<thead><tr>")
	if corner {
		b.WriteString("<td></td>")
	}
	for _, h := range xs {
		fmt.Fprintf(b, `<th scope="col">%s</th>`, esc(h))
	}
	b.WriteString("</tr></thead>")
}

// write is the cell; where hatching lies under it the number stands on a ground of its own.
func (c cell) write(b *strings.Builder, more string) {
	fmt.Fprintf(b, `<td class="d%d`, c.step)
	if c.mark != "" {
		b.WriteString(" " + c.mark)
	}
	if c.over {
		b.WriteString(` over"` + more + `><b>` + esc(c.text) + `</b></td>`)
		return
	}
	b.WriteString(`"` + more + `>` + esc(c.text) + `</td>`)
}
