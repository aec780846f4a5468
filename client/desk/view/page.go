package view

import (
	"cmp"
	"fmt"
	"html/template"
	"slices"
	"strings"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
)

// Whole is how one table is shown whole.
type Whole struct {
	// History says what set a cell, by its index among the candidate's cells as decoded; nil shows none.
	History func(cell int) string
	// Slice is the slice that is shown of a block, as its place along each axis beyond y: "2" or "2,0". What names none is the
	// slice of the largest change.
	Slice string
	// At is where the cursor stands first: "ROW,COLUMN", or "first" or "last", which are changes and, without a slice, of the
	// whole table. What is none of these is the largest change.
	At string
	// Section is the address of the sections through the cursor, which the script asks with ?slice=SLICE&at=ROW,COLUMN.
	Section string
	// Href leads from a finding of this table.
	Href func(*calibrationv1.Finding) string
}

// Table is one table whole: what was found in it, grids of difference, candidate, room and base on
// its breakpoints under one cursor, sections through the cursor, the surface where breakpoints
// changed, the least room on either side, and what set each cell; of a block one slice at a time. A text stands as
// it was and as it is. The error says that the definition has no such table, or that an image has another size.
func (c *Comparison) Table(id string, o Whole) (template.HTML, error) {
	p, err := c.read(id)
	if err != nil {
		return "", err
	}
	var b strings.Builder
	why := p.astray()
	writeSummary(&b, p)
	if why == "" { // else it is the reason
		c.writeUnjudged(&b, id)
	}
	if o.Href != nil {
		b.WriteString(string(c.Brief(slices.DeleteFunc(slices.Clone(c.Report.GetFindings()), func(f *calibrationv1.Finding) bool { return f.GetTable() != id }), o.Href)))
	}
	switch {
	case why != "":
		fmt.Fprintf(&b, `<p><strong>Its cells cannot be read:</strong> %s.</p>`, esc(why))
	case p.t.Kind == "text":
		writeTexts(&b, p)
		writeTextHistory(&b, p, o.History)
	default:
		p.writeFace(&b, o, c.Report)
	}
	return template.HTML(b.String()), nil
}

// writeFace is one grid of a table, with all that belongs to it.
func (p *pair) writeFace(b *strings.Builder, o Whole, r *calibrationv1.Report) {
	n := p.chosen(o)
	s := p.face(n)
	q := s.quad(o, p.slice(n))
	p.writeSlices(b, n, q)
	writeSurface(b, s)
	if s.moved || s.movedBeyond {
		b.WriteString(`<h2>Cells as stored</h2><p class="small">Breakpoints changed: a difference of cells here is of two places in memory, not of two values at one operating point.</p>`)
	}
	if s.cand.Values != nil && max(s.cand.NX, s.cand.NY) > 1 {
		b.WriteString(`<div class="sections" data-sections>`)
		s.writeSections(b, q.row, q.col)
		b.WriteString(`</div>`)
	}
	writeLegend(b, s)
	q.write(b)
	s.writeLeast(b, r)
	q.writeHistory(b)
}

// chosen is the face that is asked for.
func (p *pair) chosen(o Whole) int {
	if n, ok := p.parseFace(o.Slice); ok {
		return n
	}
	n, changes := -1, p.changes()
	switch o.At {
	case "first":
		n = nextChanged(changes, -1, 1)
	case "last":
		n = nextChanged(changes, len(changes), -1)
	}
	if n >= 0 {
		return n
	}
	return p.farthest()
}

// writeLegend says how to read the colours, which never stand alone.
func writeLegend(b *strings.Builder, s *sides) {
	if s.cand.Values == nil {
		return
	}
	b.WriteString(`<p class="legend small"><span class="key d-9">−</span> down <span class="key d9">+</span> up; <span class="key v3">a</span> low <span class="key v12">b</span> high; ` +
		`<span class="key r11">0</span> little room <span class="key r2">9</span> much; <span class="key r12 over"><b>−</b></span> hatched: beyond a limit. Room is rounded down.</p>`)
}

// quad is the four grids of a table, or of the slice that addresses name so.
func (s *sides) quad(o Whole, slice string) *quad {
	q := &quad{id: "cells", x: s.t.X, y: s.t.Y, nx: s.cand.NX, ny: s.cand.NY, in: strings.Join(s.in, ", "),
		xs: headings(s.t.X, s.cand.X, s.cand.NX), ys: headings(s.t.Y, s.cand.Y, s.cand.NY)}
	if q.section = o.Section; o.Section != "" {
		q.section += "?" + s.query(slice)
	}
	q.row, q.col = s.start(o.At)
	q.panes = []pane{{name: "difference", title: "Difference", note: "candidate less base", cells: s.differences()}, {name: "candidate", title: "Candidate", cells: s.levels(s.cand)}}
	room := s.rooms()
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
	q.tell(s.cand.at, o.History)
	return q
}

// query is the beginning of what asks for a cell of the face.
func (s *sides) query(slice string) string {
	if s.t.Slice == nil {
		return ""
	}
	return "slice=" + slice + "&"
}

// tell notes what set each cell.
func (q *quad) tell(cells []int, history func(cell int) string) {
	seen := map[string]int{}
	for _, cell := range cells {
		told := "not in the candidate"
		if cell >= 0 {
			told = history(cell)
		}
		at, ok := seen[told]
		if !ok {
			at = len(q.told)
			seen[told], q.told = at, append(q.told, told)
		}
		q.history = append(q.history, at)
	}
}

// writeReadout is the cell under the cursor, in words.
func (q *quad) writeReadout(b *strings.Builder) {
	i := q.row*q.nx + q.col
	var at, parts []string
	if q.x != nil {
		at = append(at, named(q.x, "x")+" "+strings.TrimSpace(q.xs[q.col]+" "+axisUnit(q.x)))
	}
	if q.y != nil {
		at = append(at, named(q.y, "y")+" "+strings.TrimSpace(q.ys[q.row]+" "+axisUnit(q.y)))
	}
	if q.in != "" {
		at = append(at, q.in)
	}
	for _, p := range q.panes {
		said := strings.ToLower(p.title) + " " + p.cells[i].text
		if title := p.cells[i].title; title != "" {
			said += " (" + title + ")"
		}
		parts = append(parts, said)
	}
	text := strings.Join(parts, ", ")
	if len(at) > 0 {
		text = strings.Join(at, ", ") + ": " + text
	}
	if q.history != nil {
		text += "; " + q.told[q.history[i]]
	}
	fmt.Fprintf(b, `<p class="readout" data-readout="%s" role="status">%s</p>`, q.id, esc(text))
	b.WriteString(`<p class="small screen">Arrow keys, Home and End move the cursor in all grids at once; with Control, Home and End go to the corners. `)
	if q.in != "" {
		b.WriteString(`Page Up and Page Down turn to the slice before and after, with the cursor where it is. `)
	}
	b.WriteString(`Enter goes to the next change and on to the next table, Shift and Enter back.</p>`)
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
	fmt.Fprintf(b, `<h2>What set the %ss</h2><ul class="told">`, cmp.Or(q.of, "cell"))
	for i, told := range q.told {
		fmt.Fprintf(b, `<li data-told="%d"><span>%s</span> <span class="small">%s</span></li>`, i, esc(told), count(counts[i], cmp.Or(q.of, "cell")))
	}
	b.WriteString(`</ul>`)
}

func count(n int, what string) string {
	if n == 1 {
		return "1 " + what
	}
	return fmt.Sprintf("%d %ss", n, what)
}
