package view

import (
	"fmt"
	"slices"
	"strings"
)

// small is the difference in small: on the breakpoints of both sides where those changed.
func (s *sides) small() *quad {
	if q := s.joined(); q != nil {
		return q
	}
	cells := s.differences()
	for i := range cells {
		cells[i].over = s.beyond(i)
	}
	return &quad{panes: []pane{{cells: cells}}, x: s.t.X, y: s.t.Y, nx: s.cand.NX, ny: s.cand.NY,
		xs: headings(s.t.X, s.cand.X, s.cand.NX), ys: headings(s.t.Y, s.cand.Y, s.cand.NY)}
}

// writeSmall is the difference from the first to the last column in which something changed, over
// the rows in which something did; rows in between are there, or their fold is.
func (s *sides) writeSmall(b *strings.Builder) {
	q := s.small()
	cells, xs := q.panes[0].cells, q.xs
	var rows []int
	first, last := q.nx, -1
	for i, c := range cells {
		if c.mark == "" {
			continue
		}
		if row := i / q.nx; !slices.Contains(rows, row) {
			rows = append(rows, row)
		}
		first, last = min(first, i%q.nx), max(last, i%q.nx)
	}
	if len(rows) == 0 {
		return // only breakpoints changed
	}
	widths := q.widths()[first : last+1]
	more := tight(widths) + `"`
	if digits(widths) > 55 {
		more = " broad-map" + more
	}
	if len(widths) > 4 { // it may need scrolling, which a keyboard must be able to do
		more += fmt.Sprintf(` tabindex="0" role="region" aria-label="%s"`, esc("Difference of "+s.t.ID))
	}
	of := "Difference"
	if q.id != "" {
		of += " of the surface"
	}
	about := fmt.Sprintf("%s%s. Across: %s", of, strings.Replace(tableUnit(s.t), " ", ", ", 1), axisName(s.t.X, "x"))
	if last-first+1 < q.nx {
		shown := xs[first]
		if last > first {
			shown += " to " + xs[last]
		}
		about += fmt.Sprintf(", %s of %s to %s", shown, xs[0], xs[len(xs)-1])
	}
	fmt.Fprintf(b, `<p class="small">%s; down: %s.</p><div class="wide small-map%s><table class="heat" aria-label="%s">`, esc(about), esc(axisName(s.t.Y, "y")), more, esc("Difference of "+s.t.ID))
	writeHead(b, s.t.X, xs[first:last+1], widths, s.t.Y != nil)
	b.WriteString("<tbody>")
	row := func(row int) {
		b.WriteString("<tr>")
		if s.t.Y != nil {
			fmt.Fprintf(b, `<th scope="row">%s</th>`, esc(q.ys[row]))
		}
		for col := first; col <= last; col++ {
			cells[row*q.nx+col].write(b, "")
		}
		b.WriteString("</tr>")
	}
	next := 0
	for _, r := range append(rows, q.ny) {
		switch between := r - next; {
		case between == 1 && next > 0 && r < q.ny:
			row(next)
		case between > 0:
			fmt.Fprintf(b, `<tr class="fold"><td colspan="%d">%s</td></tr>`, len(widths)+1, count(between, "unchanged row"))
		}
		if next = r + 1; r < q.ny {
			row(r)
		}
	}
	b.WriteString("</tbody></table></div>")
}
