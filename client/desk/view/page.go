package view

import (
	"fmt"
	"html/template"
	"strings"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/definition"
	"witnessmark/tables/limits"
)

// TablePage is one table whole: grids of base, candidate, difference and margin on its breakpoints
// under one cursor, a line plot of a curve, the surface where breakpoints changed, what set each
// cell, and the least room left. The limits may be nil; history says what set a cell and may be nil.
// The error says that the definition has no such table, or that an image has another size.
func TablePage(r *calibrationv1.Report, id string, lay *definition.Layout, base, candidate []byte, lim *limits.Limits, history func(row, col int) string) (template.HTML, error) {
	s, err := read(id, lay, base, candidate)
	if err != nil {
		return "", err
	}
	var tr *calibrationv1.TableReport
	for _, one := range r.GetTables() {
		if one.GetId() == id {
			tr = one
		}
	}
	var b strings.Builder
	writeSummary(&b, s, tr)
	if s.plotted() {
		writePlot(&b, s, lim, "plot whole")
	}
	writeSurface(&b, s, tr)
	q := s.quad(lim, history)
	if s.moved {
		b.WriteString(`<h2>Cells as stored</h2><p class="small">Breakpoints changed: a difference of cells here is of two places in memory, not of two values at one operating point.</p>`)
	}
	writeLegend(&b, s)
	q.write(&b)
	q.writeReadout(&b)
	q.writeHistory(&b)
	writeMargins(&b, r, s.t)
	return template.HTML(b.String()), nil
}

func writeSummary(b *strings.Builder, s *sides, tr *calibrationv1.TableReport) {
	changed := 0
	for i := range s.cand.Bits {
		if s.changed(i) {
			changed++
		}
	}
	fmt.Fprintf(b, `<p class="facts-line">%s of %s`, esc(upperFirst(s.t.Kind)), esc(orElse(words(s.t.Quantity), "no quantity")))
	if u := strings.TrimSpace(unitOf(s.t.Unit)); u != "" {
		fmt.Fprintf(b, ` in %s`, esc(u))
	}
	if s.t.X != nil {
		fmt.Fprintf(b, `; across: %s`, esc(axisName(s.t.X, "x")))
	}
	if s.t.Y != nil {
		fmt.Fprintf(b, `; down: %s`, esc(axisName(s.t.Y, "y")))
	}
	fmt.Fprintf(b, `. %d of %d cells changed.`, changed, len(s.cand.Bits))
	if s.moved {
		b.WriteString(` Breakpoints changed.`)
		if tr.GetRegridded() {
			b.WriteString(` The surface did not, to half a raw step.`)
		}
	}
	if tr != nil {
		if by := tr.GetJudgedBy(); len(by) > 0 {
			fmt.Fprintf(b, ` Judged by %s.`, esc(strings.Join(by, ", ")))
		} else {
			b.WriteString(` No limit looks at it.`)
		}
	}
	b.WriteString(`</p>`)
}

func orElse(s, other string) string {
	if s == "" {
		return other
	}
	return s
}

// writeLegend says how to read the colours, which never stand alone.
func writeLegend(b *strings.Builder, s *sides) {
	if s.cand.Values == nil {
		return
	}
	b.WriteString(`<p class="legend small"><span class="key d-9">−</span> down, or little room <span class="key d0">0</span> <span class="key d9">+</span> up, or much room; in base and candidate from low to high. ` +
		`<span class="key d-6 over"><b>−</b></span> hatched: beyond a limit. Room is rounded down.</p>`)
}

// quad is the four grids of a table.
func (s *sides) quad(lim *limits.Limits, history func(row, col int) string) *quad {
	q := &quad{id: "cells", x: s.t.X, y: s.t.Y, nx: s.cand.NX, ny: s.cand.NY, unit: s.t.Unit,
		xs: headings(s.t.X, s.cand.X, s.cand.NX), ys: headings(s.t.Y, s.cand.Y, s.cand.NY)}
	q.row, q.col = s.first()
	q.panes = []pane{
		{name: "base", title: "Base", cells: s.levels(s.base)},
		{name: "candidate", title: "Candidate", cells: s.levels(s.cand)},
		{name: "difference", title: "Difference", note: "candidate less base", cells: s.differences()},
	}
	if s.moved {
		q.panes[0].note = "on its own breakpoints"
		q.panes[0].xs, q.panes[0].ys = headings(s.t.X, s.base.X, s.base.NX), headings(s.t.Y, s.base.Y, s.base.NY)
		q.panes[2].note = "by place, on the candidate's breakpoints"
	}
	room, bounded := s.room(lim)
	if bounded {
		for i := range room {
			q.panes[1].cells[i].over = room[i].over
			q.panes[2].cells[i].over = room[i].over
		}
		q.panes = append(q.panes, pane{name: "room", title: "Room", note: "to the nearest limit", cells: room})
	}
	if history == nil {
		return q
	}
	seen := map[string]int{}
	for row := range q.ny {
		for col := range q.nx {
			told := history(row, col)
			at, ok := seen[told]
			if !ok {
				at = len(q.told)
				seen[told], q.told = at, append(q.told, told)
			}
			q.history = append(q.history, at)
		}
	}
	return q
}

// writeReadout is the cell under the cursor, in words.
func (q *quad) writeReadout(b *strings.Builder) {
	i := q.row*q.nx + q.col
	var at, parts []string
	if q.x != nil {
		at = append(at, orElse(quantityOf(q.x), "x")+" "+strings.TrimSpace(q.xs[q.col]+" "+axisUnit(q.x)))
	}
	if q.y != nil {
		at = append(at, orElse(quantityOf(q.y), "y")+" "+strings.TrimSpace(q.ys[q.row]+" "+axisUnit(q.y)))
	}
	for _, p := range q.panes {
		parts = append(parts, strings.ToLower(p.title)+" "+p.cells[i].text)
	}
	text := strings.Join(parts, ", ")
	if len(at) > 0 {
		text = strings.Join(at, ", ") + ": " + text
	}
	if q.history != nil {
		text += "; " + q.told[q.history[i]]
	}
	fmt.Fprintf(b, `<p class="readout" data-readout="%s" role="status">%s</p>`, q.id, esc(text))
	b.WriteString(`<p class="small screen">Arrow keys, Home and End move the cursor in all grids at once; with Control, Home and End go to the corners.</p>`)
}

// writeHistory lists what set the cells, each once.
func (q *quad) writeHistory(b *strings.Builder) {
	if q.history == nil {
		return
	}
	counts := make([]int, len(q.told))
	for _, h := range q.history {
		counts[h]++
	}
	b.WriteString(`<h2>What set the cells</h2><ul class="told">`)
	for i, told := range q.told {
		fmt.Fprintf(b, `<li data-told="%d"><span>%s</span> <span class="small">%s</span></li>`, i, esc(told), count(counts[i], "cell"))
	}
	b.WriteString(`</ul>`)
}

func count(n int, what string) string {
	if n == 1 {
		return "1 " + what
	}
	return fmt.Sprintf("%d %ss", n, what)
}

// writeMargins is the least room that each rule leaves, over the whole surface.
func writeMargins(b *strings.Builder, r *calibrationv1.Report, t *definition.Table) {
	var rows strings.Builder
	for _, m := range r.GetMargins() {
		if m.GetTable() != t.ID {
			continue
		}
		unit := " " + m.GetUnit()
		if m.GetUnit() == "1" || m.GetUnit() == "" {
			unit = ""
		}
		fmt.Fprintf(&rows, `<tr><th scope="row">%s</th><td class="num">%s</td><td class="num">%s</td><td class="num">%s</td><td>%s</td></tr>`, esc(m.GetRule()),
			esc(fine(m.GetMargin())+unit), esc(fine(m.GetValue())+unit), esc(fine(m.GetLimit())+unit), esc(point(t, m.X, m.Y)))
	}
	if rows.Len() > 0 {
		b.WriteString(`<h2>Least room under each rule</h2><div class="wide"><table class="list"><thead><tr><th scope="col">Rule</th><th scope="col">Room</th><th scope="col">Found</th><th scope="col">Allowed</th><th scope="col">At</th></tr></thead><tbody>` + rows.String() + `</tbody></table></div>`)
	}
}

// writeSurface shows both tables on the breakpoints of both joined, where breakpoints changed.
func writeSurface(b *strings.Builder, s *sides, tr *calibrationv1.TableReport) {
	f := tr.GetSurface()
	nx, ny := max(len(f.GetX()), 1), max(len(f.GetY()), 1)
	base, cand := flat(f.GetBase()), flat(f.GetCandidate())
	if f == nil || len(base) != nx*ny || len(cand) != nx*ny {
		return
	}
	delta := make([]float64, len(base))
	for i := range delta {
		delta[i] = cand[i] - base[i]
	}
	low, high := inked(base, cand)
	far, n := most(delta), places(s.t.Cells)
	if n >= 0 {
		n++ // between breakpoints a value is finer than a raw step
	}
	panes := [3][]cell{make([]cell, len(base)), make([]cell, len(base)), make([]cell, len(base))}
	q := &quad{id: "surface", x: s.t.X, y: s.t.Y, nx: nx, ny: ny, unit: s.t.Unit, xs: headings(s.t.X, f.GetX(), nx), ys: headings(s.t.Y, f.GetY(), ny)}
	for i := range base {
		m := mark(delta[i] != 0, delta[i])
		panes[0][i] = cell{text: n.text(base[i]), step: levelOf(base[i], low, high)}
		panes[1][i] = cell{text: n.text(cand[i]), step: levelOf(cand[i], low, high), mark: m}
		panes[2][i] = cell{text: "0"}
		if m != "" {
			panes[2][i] = cell{text: n.signed(delta[i]), step: stepOf(delta[i], far), mark: m}
		}
	}
	q.panes = []pane{{name: "base", title: "Base", cells: panes[0]}, {name: "candidate", title: "Candidate", cells: panes[1]},
		{name: "difference", title: "Difference", note: "candidate less base", cells: panes[2]}}
	b.WriteString(`<h2>Surface</h2><p class="small">Breakpoints changed. Both sides are read where either of them has a breakpoint.</p>`)
	q.write(b)
	q.writeReadout(b)
}
