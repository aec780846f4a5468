package view

import (
	"fmt"
	"html/template"
	"slices"
	"strings"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
)

// Whole is how one table is shown whole.
type Whole struct {
	// History says what set a cell; nil shows none.
	History func(row, col int) string
	// At is the row and column where the cursor stands first; nil is the largest change.
	At *[2]int
	// Section is the address of the sections through the cursor, which the script asks with ?at=ROW,COLUMN.
	Section string
	// Href leads from a finding of this table.
	Href func(*calibrationv1.Finding) string
}

// Table is one table whole: what was found in it, grids of difference, candidate, room and base on
// its breakpoints under one cursor, sections through the cursor, the surface where breakpoints
// changed, the least room on either side, and what set each cell. The error says that the definition
// has no such table, or that an image has another size.
func (c *Comparison) Table(id string, o Whole) (template.HTML, error) {
	s, err := c.read(id)
	if err != nil {
		return "", err
	}
	var tr *calibrationv1.TableReport
	for _, one := range c.Report.GetTables() {
		if one.GetId() == id {
			tr = one
		}
	}
	var b strings.Builder
	writeSummary(&b, s, tr)
	if o.Href != nil {
		b.WriteString(string(c.Brief(slices.DeleteFunc(slices.Clone(c.Report.GetFindings()), func(f *calibrationv1.Finding) bool { return f.GetTable() != id }), o.Href)))
	}
	writeSurface(&b, s, tr)
	q := s.quad(o)
	if s.moved {
		b.WriteString(`<h2>Cells as stored</h2><p class="small">Breakpoints changed: a difference of cells here is of two places in memory, not of two values at one operating point.</p>`)
	}
	if s.cand.Values != nil && max(s.cand.NX, s.cand.NY) > 1 {
		b.WriteString(`<div class="sections" data-sections>`)
		s.writeSections(&b, q.row, q.col)
		b.WriteString(`</div>`)
	}
	writeLegend(&b, s)
	q.write(&b)
	s.writeLeast(&b, c.Report)
	q.writeHistory(&b)
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
	b.WriteString(`<p class="legend small"><span class="key d-9">−</span> down <span class="key d9">+</span> up; <span class="key v3">a</span> low <span class="key v12">b</span> high; ` +
		`<span class="key r11">0</span> little room <span class="key r2">9</span> much; <span class="key r12 over"><b>−</b></span> hatched: beyond a limit. Room is rounded down.</p>`)
}

// quad is the four grids of a table.
func (s *sides) quad(o Whole) *quad {
	q := &quad{id: "cells", x: s.t.X, y: s.t.Y, nx: s.cand.NX, ny: s.cand.NY, unit: s.t.Unit, section: o.Section,
		xs: headings(s.t.X, s.cand.X, s.cand.NX), ys: headings(s.t.Y, s.cand.Y, s.cand.NY)}
	if q.row, q.col = s.first(); o.At != nil {
		q.row, q.col = min(max(o.At[0], 0), q.ny-1), min(max(o.At[1], 0), q.nx-1)
	}
	q.panes = []pane{{name: "difference", title: "Difference", note: "candidate less base", cells: s.differences()}, {name: "candidate", title: "Candidate", cells: s.levels(s.cand)}}
	room := s.room()
	if room != nil {
		for i := range room {
			q.panes[0].cells[i].over, q.panes[1].cells[i].over = room[i].over, room[i].over
		}
		q.panes = append(q.panes, pane{name: "room", title: "Room", note: "to the nearest limit", cells: room})
	}
	base := pane{name: "base", title: "Base", cells: s.levels(s.base)}
	if s.moved {
		base.note, base.xs, base.ys = "on its own breakpoints", headings(s.t.X, s.base.X, s.base.NX), headings(s.t.Y, s.base.Y, s.base.NY)
		q.panes[0].note = "by place, on the candidate's breakpoints"
	}
	q.panes = append(q.panes, base)
	if o.History == nil {
		return q
	}
	seen := map[string]int{}
	for row := range q.ny {
		for col := range q.nx {
			told := o.History(row, col)
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
	b.WriteString(`<p class="small screen">Arrow keys, Home and End move the cursor in all grids at once; with Control, Home and End go to the corners. Enter goes to the next change and on to the next table, Shift and Enter back.</p>`)
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
