package view

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"witnessmark/client/sheet"
	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/definition"
	"witnessmark/tables/surface"
)

// sides is one grid of a table in two images, lined up: the table itself, or one slice of a block.
type sides struct {
	t           *definition.Table // as it lies in the candidate; of a slice that the candidate lacks, in the base
	report      *calibrationv1.TableReport
	surface     *calibrationv1.Surface // nil where breakpoints are the same, or nothing lies between them
	in          []string               // of a slice: where it lies
	cols, rows  line
	base, cand  grid
	moved       bool // a breakpoint differs
	movedBeyond bool // where slices lie differs
	// What the limits leave of each cell of the candidate, and the tightest bounds there; nil without limits.
	room, low, high []float64
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

// changed says whether a cell of both sides holds other bits.
func (s *sides) changed(i int) bool {
	return s.base.has(i) && s.cand.has(i) && s.base.Bits[i] != s.cand.Bits[i]
}

// off says whether either side holds a code that is no value.
func (s *sides) off(i int) bool {
	return s.base.Off != nil && s.base.Off[i] || s.cand.Off != nil && s.cand.Off[i]
}

// deltas are candidate minus base, cell by cell as lined up, NaN where either is no value; nil for labels.
func (s *sides) deltas() []float64 {
	if s.cand.Values == nil {
		return nil
	}
	out := make([]float64, len(s.cand.Bits))
	for i := range out {
		switch {
		case s.off(i):
			out[i] = math.NaN()
		case s.changed(i):
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

// levels are one side's values, on one scale with the other's.
func (s *sides) levels(g grid) []cell {
	low, high := inked(s.base.Values, s.cand.Values)
	delta := s.deltas()
	out := make([]cell, len(g.Bits))
	for i := range out {
		if !g.has(i) {
			out[i] = cell{text: lacking, ink: none, title: "not on this side"}
			continue
		}
		out[i] = cell{text: valueAt(g.Decoded, i), ink: none}
		switch {
		case g.Off != nil && g.Off[i]:
			out[i].title = "raw " + g.Table.Cells.Raw(g.Bits[i]) + " is no value"
		case g.Values != nil:
			out[i].ink = valueInk(g.Values[i], low, high)
		}
		if g.Decoded == s.cand.Decoded && s.changed(i) {
			out[i].mark = "other"
			if delta != nil {
				out[i].mark = mark(true, delta[i])
			}
		}
	}
	return out
}

// lacking stands where a side has no cell.
const lacking = "·"

// differences are the difference pane's cells.
func (s *sides) differences() []cell {
	delta, n := s.deltas(), places(s.t.Cells)
	far := most(delta)
	out := make([]cell, len(s.cand.Bits))
	for i := range out {
		switch {
		case !s.base.has(i):
			out[i] = cell{text: "new", ink: none, title: "not in the base"}
		case !s.cand.has(i):
			out[i] = cell{text: "gone", ink: none, title: "not in the candidate"}
		case delta == nil && s.changed(i):
			out[i] = cell{text: cmp.Or(s.sameLabel(i), "other label"), ink: none, mark: "other"}
		case delta == nil:
			out[i] = cell{text: "same", ink: none}
		case s.off(i):
			out[i] = cell{text: sheet.NoValue, ink: none, mark: mark(s.changed(i), delta[i]), title: "no difference of what is no value"}
		default:
			out[i] = cell{text: n.signed(delta[i]), ink: deltaInk(delta[i], far), mark: mark(s.changed(i), delta[i])}
			if !s.changed(i) {
				out[i].text = "0"
			}
		}
	}
	return out
}

// sameLabel is a change from one raw value to another that has the same label; empty where the label is another.
func (s *sides) sameLabel(i int) string {
	if was, is := valueAt(s.base.Decoded, i), valueAt(s.cand.Decoded, i); was != is {
		return ""
	}
	return fmt.Sprintf("raw %s→%s", s.t.Cells.Raw(s.base.Bits[i]), s.t.Cells.Raw(s.cand.Bits[i]))
}

// rooms are the room pane's cells; nil where no cell has a bound.
func (s *sides) rooms() []cell {
	_, far := inked(s.room)
	n, bounded := places(s.t.Cells), false
	cells := make([]cell, len(s.cand.Bits))
	for i := range cells {
		if i >= len(s.room) || math.IsNaN(s.room[i]) {
			cells[i] = cell{text: "none", ink: none}
			continue
		}
		bounded = true
		cells[i] = cell{text: n.room(s.room[i]), ink: roomInk(s.room[i], far), over: s.beyond(i)}
	}
	if !bounded {
		return nil
	}
	return cells
}

// beyond says whether a cell of the candidate lies beyond a limit.
func (s *sides) beyond(i int) bool { return i < len(s.room) && s.room[i] < 0 }

// changes are the changed cells, row by row.
func (s *sides) changes() (out []int) {
	for i := range s.cand.Bits {
		if s.changed(i) {
			out = append(out, i)
		}
	}
	return out
}

// start is where the cursor stands first, as a Whole says it.
func (s *sides) start(asked string) (row, col int) {
	if row, col, ok := s.parseCell(asked); ok {
		return row, col
	}
	at, far, delta, changes := 0, -1.0, s.deltas(), s.changes()
	switch {
	case len(changes) == 0:
		return 0, 0
	case asked == "first":
		changes = changes[:1]
	case asked == "last":
		changes = changes[len(changes)-1:]
	}
	for _, i := range changes {
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

// parseCell is the cell that an address names as "ROW,COLUMN"; ok is false where it names none.
func (s *sides) parseCell(text string) (row, col int, ok bool) {
	r, c, _ := strings.Cut(text, ",")
	row, err := strconv.Atoi(r)
	col, too := strconv.Atoi(c)
	return row, col, err == nil && too == nil && row >= 0 && row < s.cand.NY && col >= 0 && col < s.cand.NX
}
