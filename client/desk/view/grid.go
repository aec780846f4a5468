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
	text  string
	ink   ink
	mark  string // up, down or other where it changed
	over  bool   // beyond a limit
	title string // what the text alone does not say; empty for none
}

// pane is one of the grids under one cursor.
type pane struct {
	name, title, note string
	cells             []cell   // row-major
	xs, ys            []string // its own headings, where they are not the quad's
}

// quad is several grids on the same breakpoints, under one cursor; the first is the difference.
type quad struct {
	id       string
	x, y     *definition.Axis // nil where there is none
	xs, ys   []string         // headings
	nx, ny   int
	panes    []pane
	history  []int // per cell, an index into told; nil for none
	told     []string
	of       string // what history tells of, where it is no cell
	row, col int    // where the cursor stands first
	in       string // of a slice: where it lies
	section  string // the address of the sections through the cursor, which ends where the cursor is to be named; empty for none
}

// widths are the columns' widths in digits, each wide enough for its own numbers and heading, in
// whichever pane; one wide number widens no other column.
func (q *quad) widths() []int {
	out := make([]int, q.nx)
	for col := range out {
		w := narrowest
		if col < len(q.xs) {
			w = max(w, utf8.RuneCountInString(q.xs[col]))
		}
		for _, p := range q.panes {
			for row := range q.ny {
				c := p.cells[row*q.nx+col]
				n := utf8.RuneCountInString(c.text)
				if c.mark != "" {
					n++
				}
				w = max(w, n)
			}
		}
		out[col] = min(w, widest)
	}
	return out
}

// still says whether nothing of a row changed, nor lies beyond a limit.
func (q *quad) still(row int) bool {
	for _, p := range q.panes {
		for _, c := range p.cells[row*q.nx : (row+1)*q.nx] {
			if c.mark != "" || c.over {
				return false
			}
		}
	}
	return true
}

// The classes k7 to k60 say for how many digits across, in twenties, a printed grid must find room.
const fewest, fullest = 7, 60

// tight is the class of a grid whose figures must be small; empty where they need not be.
func tight(widths []int) string {
	n := digits(widths)
	if n <= 120 {
		return ""
	}
	return fmt.Sprintf(" tight k%d", min(max((n+19)/20, fewest), fullest))
}

// digits is how wide a grid is, with its headings.
func digits(widths []int) int {
	n := 4
	for _, w := range widths {
		n += w + 1
	}
	return n
}

func (q *quad) write(b *strings.Builder) {
	widths := q.widths()
	b.WriteString(`<div class="under-cursor">`)
	q.writeSteps(b)
	fmt.Fprintf(b, `<div class="quad%s" data-quad data-x="%s" data-y="%s" data-xu="%s" data-yu="%s" data-in="%s" data-section="%s">`, tight(widths),
		esc(named(q.x, "x")), esc(named(q.y, "y")), esc(axisUnit(q.x)), esc(axisUnit(q.y)), esc(q.in), esc(q.section))
	for i := range q.panes {
		if i%2 == 0 {
			b.WriteString(`<div class="pair">`)
		}
		q.writePane(b, &q.panes[i], widths)
		if i%2 == 1 || i == len(q.panes)-1 {
			b.WriteString(`</div>`)
		}
	}
	b.WriteString(`</div>`)
	q.writeReadout(b)
	b.WriteString(`</div>`)
}

// writeSteps is the buttons that the script puts to use; without it they stay hidden.
func (q *quad) writeSteps(b *strings.Builder) {
	b.WriteString(`<div class="steps screen" data-steps hidden><button type="button" data-step="-1">Previous change</button> <button type="button" data-step="1">Next change</button> <span data-count></span>`)
	still := 0
	for row := range q.ny {
		if q.still(row) {
			still++
		}
	}
	if still > 0 && still < q.ny {
		fmt.Fprintf(b, ` <button type="button" data-fold aria-pressed="false">Fold %s</button>`, count(still, "unchanged row"))
	}
	b.WriteString(`</div>`)
}

func (q *quad) writePane(b *strings.Builder, p *pane, widths []int) {
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
	writeHead(b, q.x, xs, widths, q.y != nil)
	b.WriteString("<tbody>")
	for row := range q.ny {
		if q.still(row) {
			b.WriteString(`<tr class="still">`)
		} else {
			b.WriteString("<tr>")
		}
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

func writeHead(b *strings.Builder, x *definition.Axis, xs []string, widths []int, corner bool) {
	if x == nil {
		return
	}
	b.WriteString("<thead><tr>")
	if corner {
		b.WriteString("<td></td>")
	}
	for i, h := range xs {
		fmt.Fprintf(b, `<th scope="col" class="w%d">%s</th>`, widths[i], esc(h))
	}
	b.WriteString("</tr></thead>")
}

// write is the cell; where hatching lies under it the number stands on a ground of its own.
func (c cell) write(b *strings.Builder, more string) {
	if c.title != "" {
		more += fmt.Sprintf(` title="%s"`, esc(c.title))
	}
	fmt.Fprintf(b, `<td class="%s`, c.ink)
	if c.mark != "" {
		b.WriteString(" " + c.mark)
	}
	if c.over {
		b.WriteString(` over"` + more + `><b>` + esc(c.text) + `</b></td>`)
		return
	}
	b.WriteString(`"` + more + `>` + esc(c.text) + `</td>`)
}
