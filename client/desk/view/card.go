package view

import (
	"fmt"
	"html/template"
	"strings"

	"google.golang.org/protobuf/types/known/structpb"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/definition"
)

// TableCard is one changed table in small: its name, its picture, and its numbers. A map shows the
// rows and columns that changed. What the images cannot show is said from the report alone.
func TableCard(_ *calibrationv1.Report, tr *calibrationv1.TableReport, lay *definition.Layout, base, candidate []byte, href string) template.HTML {
	var b strings.Builder
	fmt.Fprintf(&b, `<h3><a href="%s">%s</a></h3>`, esc(href), esc(tr.GetId()))
	s, err := read(tr.GetId(), lay, base, candidate)
	if err != nil {
		fmt.Fprintf(&b, `<p>%s changed. No picture: %s.</p>`, cellsChanged(tr), esc(err.Error()))
		return template.HTML(b.String())
	}
	if s.t.Title != "" {
		fmt.Fprintf(&b, `<p class="small">%s</p>`, esc(s.t.Title))
	}
	writeNumbers(&b, s, tr)
	switch {
	case s.t.Kind == "scalar":
		fmt.Fprintf(&b, `<p class="scalar">%s → <b>%s</b>%s</p>`, esc(valueAt(s.base, 0)), esc(valueAt(s.cand, 0)), esc(unitOf(s.t.Unit)))
	case s.cand.Values == nil:
		s.writeLabels(&b)
	case s.plotted():
		writePlot(&b, s, nil, "plot")
	default:
		s.writeSmall(&b)
	}
	return template.HTML(b.String())
}

func cellsChanged(tr *calibrationv1.TableReport) string {
	return fmt.Sprintf("%d of %s", tr.GetChanged(), count(int(tr.GetCells()), "cell"))
}

func writeNumbers(b *strings.Builder, s *sides, tr *calibrationv1.TableReport) {
	unit, n := unitOf(s.t.Unit), places(s.t.Cells)
	fmt.Fprintf(b, `<p class="numbers">%s`, cellsChanged(tr))
	if d := tr.GetDelta(); d != nil && d.GetMin() != d.GetMax() {
		fmt.Fprintf(b, `, by %s to %s%s`, esc(n.signed(d.GetMin())), esc(n.signed(d.GetMax())), esc(unit))
	} else if d != nil {
		fmt.Fprintf(b, `, by %s%s`, esc(n.signed(d.GetMax())), esc(unit))
	}
	switch {
	case tr.GetRegridded():
		b.WriteString(`; breakpoints changed, the surface did not`)
	case tr.GetAxesChanged():
		b.WriteString(`; breakpoints changed`)
	}
	if len(tr.GetJudgedBy()) == 0 {
		b.WriteString(`; <strong>no limit looks at it</strong>`)
	}
	b.WriteString(`</p>`)
}

// writeLabels lists the cells whose label changed.
func (s *sides) writeLabels(b *strings.Builder) {
	b.WriteString(`<ul class="told">`)
	for i := range s.cand.Bits {
		if s.changed(i) {
			x, y := s.place(i)
			fmt.Fprintf(b, `<li>%s: %s → <b>%s</b></li>`, esc(point(s.t, x, y)), esc(valueAt(s.base, i)), esc(valueAt(s.cand, i)))
		}
	}
	b.WriteString(`</ul>`)
}

// place is the operating point of a cell of the candidate.
func (s *sides) place(i int) (x, y *float64) {
	if s.cand.X != nil {
		x = &s.cand.X[i%s.cand.NX]
	}
	if s.cand.Y != nil {
		y = &s.cand.Y[i/s.cand.NX]
	}
	return x, y
}

// writeSmall is the difference over the rows and columns in which something changed.
func (s *sides) writeSmall(b *strings.Builder) {
	cells := s.differences()
	var rows, cols []int
	for row := range s.cand.NY {
		for col := range s.cand.NX {
			if s.changed(row*s.cand.NX + col) {
				rows = append(rows, row)
				break
			}
		}
	}
	for col := range s.cand.NX {
		for _, row := range rows {
			if s.changed(row*s.cand.NX + col) {
				cols = append(cols, col)
				break
			}
		}
	}
	if len(rows) == 0 {
		return // only breakpoints changed
	}
	xs, ys := headings(s.t.X, s.cand.X, s.cand.NX), headings(s.t.Y, s.cand.Y, s.cand.NY)
	q := quad{panes: []pane{{cells: cells}}}
	width := q.width()
	digits := (len(cols) + 1) * (width + 1)
	more := fmt.Sprintf(` w%d"`, width)
	if digits > 120 {
		more = tight(len(cols), width) + `"`
	}
	if digits > 40 { // it may need scrolling, which a keyboard must be able to do
		more += fmt.Sprintf(` tabindex="0" role="region" aria-label="%s"`, esc("Difference of "+s.t.ID))
	}
	about := fmt.Sprintf("Difference%s. Across: %s; down: %s.", strings.Replace(unitOf(s.t.Unit), " ", ", ", 1), axisName(s.t.X, "x"), axisName(s.t.Y, "y"))
	fmt.Fprintf(b, `<p class="small">%s</p><div class="wide small-map%s><table class="heat" aria-label="%s">`, esc(about), more, esc("Difference of "+s.t.ID))
	var shown []string
	for _, col := range cols {
		shown = append(shown, xs[col])
	}
	writeHead(b, s.t.X, shown, s.t.Y != nil)
	b.WriteString("<tbody>")
	for _, row := range rows {
		b.WriteString("<tr>")
		if s.t.Y != nil {
			fmt.Fprintf(b, `<th scope="row">%s</th>`, esc(ys[row]))
		}
		for _, col := range cols {
			cells[row*s.cand.NX+col].write(b, "")
		}
		b.WriteString("</tr>")
	}
	b.WriteString("</tbody></table></div>")
}

// flat is rows of numbers in one; nil where something else is among them.
func flat(rows []*structpb.ListValue) []float64 {
	var out []float64
	for _, row := range rows {
		for _, v := range row.GetValues() {
			n, ok := numberOf(v)
			if !ok {
				return nil
			}
			out = append(out, n)
		}
	}
	return out
}
