package view

import (
	"errors"
	"fmt"
	"html/template"
	"math"
	"strings"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/definition"
)

// Card is one changed table in small: its name and worst severity, its numbers, where least room is
// left, and its picture. What the images cannot show is said from the report alone.
func (c *Comparison) Card(tr *calibrationv1.TableReport, href string) template.HTML {
	var b strings.Builder
	fmt.Fprintf(&b, `<h3><a href="%s">%s</a>`, esc(href), esc(tr.GetId()))
	if word := c.worstOf(tr.GetId()); word != "" {
		fmt.Fprintf(&b, ` <span class="verdict v-%s">%s</span>`, word, word)
	}
	b.WriteString(`</h3>`)
	p, err := c.read(tr.GetId())
	if err == nil && p.astray() != "" {
		err = errors.New(p.astray())
	}
	if err != nil {
		fmt.Fprintf(&b, `<p>%s changed. No picture: %s.</p>`, cellsChanged(tr), esc(err.Error()))
		return template.HTML(b.String())
	}
	if called := Called(p.t); called != "" {
		fmt.Fprintf(&b, `<p class="small">%s</p>`, esc(called))
	}
	if p.t.Kind == "text" {
		fmt.Fprintf(&b, `<p class="numbers">text changed%s</p>`, noLimit(tr))
		writeTexts(&b, p)
		return template.HTML(b.String())
	}
	s := p.face(p.farthest())
	writeNumbers(&b, s, tr)
	if p.beyond != nil {
		fmt.Fprintf(&b, `<p class="small">%s Shown is %s.</p>`, p.changedSlices(p.changes()), esc(strings.Join(s.in, ", ")))
	}
	if used := p.used(); used != "" {
		fmt.Fprintf(&b, `<p class="small">%s</p>`, used)
	}
	s.writeTightest(&b)
	switch {
	case s.t.Kind == "scalar":
		fmt.Fprintf(&b, `<p class="scalar">%s → <b>%s</b>%s</p>`, esc(valueAt(s.base.Decoded, 0)), esc(valueAt(s.cand.Decoded, 0)), esc(tableUnit(s.t)))
	case s.cand.Values == nil:
		s.writeLabels(&b)
	case s.plotted():
		s.sectionAlongX(0).write(&b, s.called())
	default:
		s.writeSmall(&b)
	}
	return template.HTML(b.String())
}

// Called is a table's title, and its name where the definition came from.
func Called(t *definition.Table) string {
	switch {
	case t.KnownAs == "":
		return t.Title
	case t.Title == "" || t.Title == t.KnownAs:
		return "Known as " + t.KnownAs
	}
	return t.Title + ", known as " + t.KnownAs
}

func cellsChanged(tr *calibrationv1.TableReport) string {
	return fmt.Sprintf("%d of %s", tr.GetChanged(), count(int(tr.GetCells()), "cell"))
}

func writeNumbers(b *strings.Builder, s *sides, tr *calibrationv1.TableReport) {
	unit, n := tableUnit(s.t), places(s.t.Cells)
	by := func(min, max float64) string {
		if min == max {
			return ", by " + n.signed(max) + unit
		}
		return fmt.Sprintf(", by %s to %s%s", n.signed(min), n.signed(max), unit)
	}
	b.WriteString(`<p class="numbers">`)
	d, f := tr.GetDelta(), tr.GetFromAsFound()
	b.WriteString(esc(cellsChanged(tr)))
	if d != nil {
		b.WriteString(esc(by(d.GetMin(), d.GetMax())))
	}
	if f != nil && (f.GetChanged() != tr.GetChanged() || f.GetMin() != d.GetMin() || f.GetMax() != d.GetMax()) {
		fmt.Fprintf(b, ` in this submission; since the car first came %d`, f.GetChanged())
		if f.Min != nil && f.GetChanged() > 0 {
			b.WriteString(esc(by(f.GetMin(), f.GetMax())))
		}
	}
	switch {
	case tr.GetRegridded():
		b.WriteString(`; breakpoints changed, the surface did not`)
	case tr.GetAxesChanged():
		b.WriteString(`; breakpoints changed`)
	}
	b.WriteString(noLimit(tr) + `</p>`)
}

func noLimit(tr *calibrationv1.TableReport) string {
	if len(tr.GetJudgedBy()) == 0 {
		return `; <strong>no limit looks at it</strong>`
	}
	return ""
}

// writeTightest says what became of the changed cell that has the least room.
func (s *sides) writeTightest(b *strings.Builder) {
	at, least := -1, math.Inf(1)
	for _, i := range s.changes() {
		if i < len(s.room) && (s.room[i] < least || at < 0 && !math.IsNaN(s.room[i])) {
			at, least = i, s.room[i]
		}
	}
	if at < 0 {
		return
	}
	class, where := "numbers", ""
	if least < 0 {
		class += " beyond"
	}
	if x, y := s.place(at); x != nil || y != nil {
		where = " at " + point(s.t, x, y)
	}
	fmt.Fprintf(b, `<p class="%s">%s → <b>%s</b>%s%s: room <b>%s</b>%s, the least of what changed</p>`, class, esc(valueAt(s.base.Decoded, at)), esc(valueAt(s.cand.Decoded, at)),
		esc(tableUnit(s.t)), esc(where), esc(places(s.t.Cells).room(least)), esc(tableUnit(s.t)))
}

// writeLabels lists the cells whose label changed.
func (s *sides) writeLabels(b *strings.Builder) {
	b.WriteString(`<ul class="told">`)
	for _, i := range s.changes() {
		x, y := s.place(i)
		fmt.Fprintf(b, `<li>%s: %s → <b>%s</b> %s</li>`, esc(point(s.t, x, y)), esc(valueAt(s.base.Decoded, i)), esc(valueAt(s.cand.Decoded, i)), esc(s.sameLabel(i)))
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
