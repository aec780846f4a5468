package view

import (
	"fmt"
	"strings"

	"witnessmark/client/sheet"
)

// writeSlices is where each slice of a block is chosen, a row for each axis beyond y, with those marked that hold changes; links
// keep the cell under the cursor. The last row turns to the slices around this one.
func (p *pair) writeSlices(b *strings.Builder, face int, q *quad) {
	if p.beyond == nil {
		return
	}
	changes, here := p.changes(), p.placeOf(face)
	to := func(n int, at string) string { return fmt.Sprintf("?slice=%s&amp;at=%s", p.slice(n), at) }
	stay := fmt.Sprintf("%d,%d", q.row, q.col)
	b.WriteString(`<nav class="slices screen" aria-label="Slices" data-slices>`)
	for k, l := range p.beyond {
		axis := p.cand.Table.Axes[k+2]
		names := headings(axis, l.points(p.base.Beyond()[k], p.cand.Beyond()[k], 1), len(l))
		fmt.Fprintf(b, `<p><span class="axis">%s</span>`, esc(axisName(axis, sheet.Side(k+2))))
		for i, name := range names {
			place := append([]int(nil), here...)
			place[k] = i
			n, current := p.faceAt(place), ""
			if i == here[k] {
				current = ` aria-current="page"`
			}
			fmt.Fprintf(b, ` <a href="%s"%s>%s%s</a>`, to(n, stay), current, esc(name), marked(changes[n]))
		}
		b.WriteString(`</p>`)
	}
	b.WriteString(`<p class="turn">`)
	link := func(way, n int, what, kind, at string) {
		if n >= 0 && n < len(changes) {
			fmt.Fprintf(b, `<a href="%s" data-%s="%d">%s</a> `, to(n, at), kind, way, what)
		}
	}
	link(-1, face-1, "Slice before", "slice", stay)
	link(1, face+1, "Slice after", "slice", stay)
	link(-1, nextChanged(changes, face, -1), "Changes before", "changes", "last")
	link(1, nextChanged(changes, face, 1), "Changes after", "changes", "first")
	fmt.Fprintf(b, `<span class="small">%s</span></p></nav><h2 class="in">%s</h2>`, p.changedSlices(changes), esc(upperFirst(q.in)))
}

func marked(changes int) string {
	if changes == 0 {
		return ""
	}
	return fmt.Sprintf(` <span class="other" title="%s">%d</span>`, count(changes, "change"), changes)
}

// nextChanged is the next face in a direction that holds changes; -1 for none.
func nextChanged(changes []int, face, way int) int {
	for n := face + way; n >= 0 && n < len(changes); n += way {
		if changes[n] > 0 {
			return n
		}
	}
	return -1
}

// changedSlices says how many slices hold changes, and what is so of where slices lie.
func (p *pair) changedSlices(changes []int) string {
	n := 0
	for _, c := range changes {
		if c > 0 {
			n++
		}
	}
	out := fmt.Sprintf("%d of %s hold changes.", n, count(len(changes), "slice"))
	for k := range p.beyond {
		if !same(p.base.Beyond()[k], p.cand.Beyond()[k]) {
			out += " Where slices lie changed along " + esc(named(p.t.Axes[k+2], sheet.Side(k+2))) + "."
		}
	}
	return out
}
