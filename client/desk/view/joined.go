package view

import (
	"math"
	"strings"

	"google.golang.org/protobuf/types/known/structpb"

	"witnessmark/client/sheet"
	"witnessmark/tables/said"
)

// writeSurface shows both tables on the breakpoints of both joined, where breakpoints changed.
func writeSurface(b *strings.Builder, s *sides) {
	if q := s.joined(); q != nil {
		b.WriteString(`<h2>Surface</h2><p class="small">Breakpoints changed. Both sides are read where either of them has a breakpoint.</p>`)
		q.write(b)
	}
}

// joined is both sides on the breakpoints of both; nil where those are the same, or nothing lies between them.
func (s *sides) joined() *quad {
	f := s.surface
	nx, ny := max(len(f.GetX()), 1), max(len(f.GetY()), 1)
	base, was := flat(f.GetBase())
	cand, is := flat(f.GetCandidate())
	if f == nil || len(base) != nx*ny || len(cand) != nx*ny {
		return nil
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
	value := func(v float64, off bool, m string) cell {
		if off {
			return cell{text: sheet.NoValue, ink: none, mark: m, title: "a code that is no value has a say here"}
		}
		return cell{text: n.text(v), ink: valueInk(v, low, high), mark: m}
	}
	panes := [3][]cell{make([]cell, len(base)), make([]cell, len(base)), make([]cell, len(base))}
	q := &quad{id: "surface", x: s.t.X, y: s.t.Y, nx: nx, ny: ny, in: strings.Join(s.in, ", "), xs: headings(s.t.X, f.GetX(), nx), ys: headings(s.t.Y, f.GetY(), ny)}
	for i := range base {
		m := mark(delta[i] != 0 && !(was[i] && is[i]), delta[i])
		switch {
		case was[i] || is[i]:
			panes[0][i] = cell{text: sheet.NoValue, ink: none, mark: m, title: "no difference of what is no value"}
		case m == "":
			panes[0][i] = cell{text: "0", ink: none}
		default:
			panes[0][i] = cell{text: n.signed(delta[i]), ink: deltaInk(delta[i], far), mark: m}
		}
		panes[1][i], panes[2][i] = value(cand[i], is[i], m), value(base[i], was[i], "")
	}
	q.panes = []pane{{name: "difference", title: "Difference", note: "candidate less base", cells: panes[0]},
		{name: "candidate", title: "Candidate", cells: panes[1]}, {name: "base", title: "Base", cells: panes[2]}}
	return q
}

// flat is rows of numbers in one, and where a code that is no value stands among them; nil where something else does.
func flat(rows []*structpb.ListValue) (out []float64, off []bool) {
	for _, row := range rows {
		for _, v := range row.GetValues() {
			n, number := said.NumberIn(v)
			_, null := v.GetKind().(*structpb.Value_NullValue)
			if !number && !null {
				return nil, nil
			}
			if null {
				n = math.NaN()
			}
			out, off = append(out, n), append(off, null)
		}
	}
	return out, off
}
