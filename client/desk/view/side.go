package view

import (
	"fmt"
	"math"
	"slices"

	"witnessmark/tables/definition"
	"witnessmark/tables/limits"
	"witnessmark/tables/surface"
)

// sides is one table of two images.
type sides struct {
	t          *definition.Table
	base, cand *surface.Decoded
	moved      bool // a breakpoint differs
	// What the limits leave of each cell of either side; nil without limits.
	baseRoom, candRoom []float64
	low, high          []float64 // the tightest bounds of the candidate's cells
}

// read takes a table out of both images; the error names what does not fit.
func (c *Comparison) read(id string) (*sides, error) {
	t := tableOf(c.Layout, id)
	if t == nil {
		return nil, fmt.Errorf("there is no table %.60q in the definition", id)
	}
	for _, side := range []struct {
		name  string
		image []byte
	}{{"base", c.Base}, {"candidate", c.Candidate}} {
		if uint64(len(side.image)) != c.Layout.Size {
			return nil, fmt.Errorf("table %s cannot be shown: the %s has %d bytes; allowed: the definition's %d", id, side.name, len(side.image), c.Layout.Size)
		}
	}
	s := &sides{t: t, base: surface.Decode(t, c.Base), cand: surface.Decode(t, c.Candidate)}
	s.moved = !same(s.base.X, s.cand.X) || !same(s.base.Y, s.cand.Y)
	s.low, s.high = limits.Bounds(c.Limits, t, s.cand)
	if c.Limits != nil && s.cand.Values != nil {
		s.baseRoom, s.candRoom = limits.Room(c.Limits, t, s.base), limits.Room(c.Limits, t, s.cand)
	}
	return s, nil
}

func same(a, b []float64) bool {
	if len(a) != len(b) {
		return false
	}
	for i := range a {
		if math.Float64bits(a[i]) != math.Float64bits(b[i]) {
			return false
		}
	}
	return true
}

// changed says whether a cell holds other bits.
func (s *sides) changed(i int) bool { return s.base.Bits[i] != s.cand.Bits[i] }

// deltas are candidate minus base, cell by cell as stored; nil for labels.
func (s *sides) deltas() []float64 {
	if s.cand.Values == nil {
		return nil
	}
	out := make([]float64, len(s.cand.Bits))
	for i := range out {
		if s.changed(i) {
			out[i] = s.t.Cells.Delta(s.base.Bits[i], s.cand.Bits[i])
		}
	}
	return out
}

// mark is how a changed cell is marked.
func mark(changed bool, delta float64) string {
	switch {
	case !changed:
		return ""
	case delta > 0:
		return "up"
	case delta < 0:
		return "down"
	}
	return "other" // a label, or another way to write the same number, or no number
}

// inked is the extent that colours are spread over: one slip of a decimal point must not make all
// other cells look alike, so what lies far outside of nearly all the others is drawn as the end is.
func inked(sets ...[]float64) (low, high float64) {
	var all []float64
	for _, set := range sets {
		for _, v := range set {
			if surface.Finite(v) {
				all = append(all, v)
			}
		}
	}
	if len(all) == 0 {
		return 0, 0
	}
	slices.Sort(all)
	few := len(all) / 20
	low, high = all[0], all[len(all)-1]
	near := [2]float64{all[few], all[len(all)-1-few]}
	if span := near[1]/2 - near[0]/2; span > 0 {
		if near[0]/2-low/2 > span {
			low = near[0]
		}
		if high/2-near[1]/2 > span {
			high = near[1]
		}
	}
	return low, high
}

// most is the largest amount that colours are spread over, of what is not zero.
func most(vs []float64) float64 {
	var amounts []float64
	for _, v := range vs {
		if v != 0 {
			amounts = append(amounts, math.Abs(v))
		}
	}
	_, high := inked(append(amounts, 0))
	return high
}

// levels are both sides' values on one scale, as two panes' cells.
func (s *sides) levels(d *surface.Decoded) []cell {
	low, high := inked(s.base.Values, s.cand.Values)
	delta := s.deltas()
	out := make([]cell, len(d.Bits))
	for i := range out {
		out[i] = cell{text: valueAt(d, i), ink: none}
		if d.Values != nil {
			out[i].ink = valueInk(d.Values[i], low, high)
		}
		if d == s.cand && s.changed(i) {
			out[i].mark = "other"
			if delta != nil {
				out[i].mark = mark(true, delta[i])
			}
		}
	}
	return out
}

// differences are the difference pane's cells.
func (s *sides) differences() []cell {
	delta, n := s.deltas(), places(s.t.Cells)
	far := most(delta)
	out := make([]cell, len(s.cand.Bits))
	for i := range out {
		switch {
		case delta == nil && s.changed(i):
			out[i] = cell{text: "other label", ink: none, mark: "other"}
		case delta == nil:
			out[i] = cell{text: "same", ink: none}
		default:
			out[i] = cell{text: n.signed(delta[i]), ink: deltaInk(delta[i], far), mark: mark(s.changed(i), delta[i])}
			if !s.changed(i) {
				out[i].text = "0"
			}
		}
	}
	return out
}

// room are the room pane's cells; nil where no cell has a bound.
func (s *sides) room() []cell {
	_, far := inked(s.candRoom)
	n, bounded := places(s.t.Cells), false
	cells := make([]cell, len(s.cand.Bits))
	for i := range cells {
		if i >= len(s.candRoom) || math.IsNaN(s.candRoom[i]) {
			cells[i] = cell{text: "none", ink: none}
			continue
		}
		bounded = true
		cells[i] = cell{text: n.room(s.candRoom[i]), ink: roomInk(s.candRoom[i], far), over: s.beyond(i)}
	}
	if !bounded {
		return nil
	}
	return cells
}

// beyond says whether a cell of the candidate lies beyond a limit.
func (s *sides) beyond(i int) bool { return i < len(s.candRoom) && s.candRoom[i] < 0 }

// changes are the changed cells, row by row.
func (s *sides) changes() (out []int) {
	for i := range s.cand.Bits {
		if s.changed(i) {
			out = append(out, i)
		}
	}
	return out
}

// first is where the cursor stands first: at the largest change, or at the first cell.
func (s *sides) first() (row, col int) {
	at, far, delta := 0, -1.0, s.deltas()
	for _, i := range s.changes() {
		size := 0.0
		if delta != nil && surface.Finite(delta[i]) {
			size = math.Abs(delta[i])
		}
		if size > far {
			at, far = i, size
		}
	}
	return at / max(s.cand.NX, 1), at % max(s.cand.NX, 1)
}
