package view

import "strings"

// writeSurface shows both tables on the breakpoints of both joined, where breakpoints changed.
func writeSurface(b *strings.Builder, s *sides) {
	f := s.surface
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
	q := &quad{id: "surface", x: s.t.X, y: s.t.Y, nx: nx, ny: ny, in: strings.Join(s.in, ", "), xs: headings(s.t.X, f.GetX(), nx), ys: headings(s.t.Y, f.GetY(), ny)}
	for i := range base {
		m := mark(delta[i] != 0, delta[i])
		panes[0][i] = cell{text: "0", ink: none}
		if m != "" {
			panes[0][i] = cell{text: n.signed(delta[i]), ink: deltaInk(delta[i], far), mark: m}
		}
		panes[1][i] = cell{text: n.text(cand[i]), ink: valueInk(cand[i], low, high), mark: m}
		panes[2][i] = cell{text: n.text(base[i]), ink: valueInk(base[i], low, high)}
	}
	q.panes = []pane{{name: "difference", title: "Difference", note: "candidate less base", cells: panes[0]},
		{name: "candidate", title: "Candidate", cells: panes[1]}, {name: "base", title: "Base", cells: panes[2]}}
	b.WriteString(`<h2>Surface</h2><p class="small">Breakpoints changed. Both sides are read where either of them has a breakpoint.</p>`)
	q.write(b)
}
