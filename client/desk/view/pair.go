package view

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/changed"
	"witnessmark/tables/definition"
	"witnessmark/tables/limits"
	"witnessmark/tables/said"
	"witnessmark/tables/surface"
)

// pair is one table of two images, whole.
type pair struct {
	t          *definition.Table          // as declared
	report     *calibrationv1.TableReport // nil if it did not change
	base, cand *surface.Decoded
	beyond     []line // of a block, along each axis beyond y
	// What the limits leave of each cell of the candidate, and the tightest bounds there; nil without limits.
	room, low, high []float64
	counts          []int // of changes, by face; nil until they were counted
	far             int   // the face of the largest change
}

// read takes a table out of both images, with what the limits say of its cells.
func (c *Comparison) read(id string) (*pair, error) {
	p, err := c.decode(id)
	if err == nil && c.Limits != nil && p.cand.Values != nil {
		p.low, p.high, p.room = limits.Bounds(c.Limits, p.t, p.cand)
	}
	return p, err
}

// decode is read without the limits; the error names what does not fit.
func (c *Comparison) decode(id string) (*pair, error) {
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
	p := &pair{t: t, base: surface.Decode(t, c.Base), cand: surface.Decode(t, c.Candidate)}
	if i := slices.IndexFunc(c.Report.GetTables(), func(r *calibrationv1.TableReport) bool { return r.GetId() == id }); i >= 0 {
		p.report = c.Report.GetTables()[i]
	}
	if p.base.Slices != nil && p.cand.Slices != nil {
		was, is := p.base.Beyond(), p.cand.Beyond()
		for k := range is {
			p.beyond = append(p.beyond, lineUp(was[k], is[k], apart(was[k], is[k])))
		}
	}
	return p, nil
}

// astray says why nothing of the table can be shown; empty where it can.
func (p *pair) astray() string {
	var out []string
	for _, side := range []struct {
		name string
		d    *surface.Decoded
	}{{"base", p.base}, {"candidate", p.cand}} {
		if e := side.d.Astray; e != nil {
			axis := ""
			if e.Axis != nil {
				axis = " along " + named(e.Axis, "it")
			}
			out = append(out, fmt.Sprintf("in the %s%s %s", side.name, axis, e.Problem))
		}
	}
	return strings.Join(out, "; ")
}

// faces is how many grids the table has: of a block one for each slice that either side has.
func (p *pair) faces() int {
	n := 1
	for _, l := range p.beyond {
		n *= len(l)
	}
	return n
}

// placeOf is where a face lies along each axis beyond y, in its line.
func (p *pair) placeOf(face int) []int {
	out := make([]int, len(p.beyond))
	for k, l := range p.beyond {
		out[k], face = face%len(l), face/len(l)
	}
	return out
}

// faceAt is the face at a place.
func (p *pair) faceAt(place []int) int {
	face, step := 0, 1
	for k, l := range p.beyond {
		face, step = face+place[k]*step, step*len(l)
	}
	return face
}

// faceOf is the face of a slice that a report names, by the candidate's indices; the first one where it names none.
func (p *pair) faceOf(s *calibrationv1.Slice) int {
	place := make([]int, len(p.beyond))
	for k := range min(len(place), len(s.GetIndex())) {
		place[k] = p.beyond[k].find(1, int(s.GetIndex()[k]))
	}
	return p.faceAt(place)
}

// parseFace is the face that an address names by its place along each axis beyond y, as in "2,0"; ok is false where it names none.
func (p *pair) parseFace(s string) (face int, ok bool) {
	parts := strings.Split(s, ",")
	if len(parts) != len(p.beyond) {
		return 0, false
	}
	place := make([]int, len(parts))
	for k, part := range parts {
		n, err := strconv.Atoi(part)
		if err != nil || n < 0 || n >= len(p.beyond[k]) {
			return 0, false
		}
		place[k] = n
	}
	return p.faceAt(place), true
}

// slice is a face as addresses name it.
func (p *pair) slice(face int) string {
	var out []string
	for _, n := range p.placeOf(face) {
		out = append(out, strconv.Itoa(n))
	}
	return strings.Join(out, ",")
}

// changes counts what changed of each face: cells, or where breakpoints moved the points of the joined surface that differ.
func (p *pair) changes() []int {
	if p.counts == nil {
		p.counts = make([]int, p.faces())
		p.count()
	}
	return p.counts
}

// farthest is the face of the largest change; the first one where nothing changed.
func (p *pair) farthest() int {
	p.changes()
	return p.far
}

func (p *pair) count() {
	most := 0.0
	note := func(face int, by float64) {
		p.counts[face]++
		if math.Abs(by) > most || p.counts[p.far] == 0 {
			p.far, most = face, max(most, math.Abs(by))
		}
	}
	for _, f := range p.report.GetSurfaces() {
		base, was := flat(f.GetBase())
		cand, is := flat(f.GetCandidate())
		face := p.faceAround(f.GetSlice())
		if len(base) != len(cand) || p.face(face).surface != f { // else it lies between two slices
			continue
		}
		for i := range cand {
			if by := cand[i] - base[i]; by != 0 && !(was[i] && is[i]) {
				note(face, by)
			}
		}
	}
	if len(p.report.GetSurfaces()) > 0 {
		return
	}
	cells, err := changed.Of(p.report)
	if err != nil {
		return
	}
	face, slice := 0, -1
	for _, c := range cells.All() {
		if c.Slice != slice {
			face, slice = p.faceOf(cells.Slice(c.Slice)), c.Slice
		}
		note(face, c.Delta)
	}
}

// cut is the slice of a face on one side, and the index of its first cell; -1 where that side lacks it.
func (p *pair) cut(side, face int) (d *surface.Decoded, first int) {
	d = [2]*surface.Decoded{p.base, p.cand}[side]
	if p.beyond == nil {
		return d, 0
	}
	at, step := 0, 1
	for k, n := range p.placeOf(face) {
		i := p.beyond[k][n][side]
		if i < 0 {
			return d.Slices[0], -1
		}
		at, step = at+i*step, step*d.Table.Axes[k+2].Count
	}
	return d.Slices[at], at * d.NX * d.NY
}

// face is one grid of the table, both sides lined up. Of a table that leads outside, or of a text, there is none.
func (p *pair) face(n int) *sides {
	base, was := p.cut(0, n)
	cand, is := p.cut(1, n)
	only := p.report.GetAlignment()
	cols, rows := lineUp(base.X, cand.X, only.GetX()), lineUp(base.Y, cand.Y, only.GetY())
	s := &sides{t: cand.Table, cols: cols, rows: rows, report: p.report, moved: !same(base.X, cand.X) || !same(base.Y, cand.Y),
		base: lined(base, was, 0, cols, rows), cand: lined(cand, is, 1, cols, rows)}
	if is < 0 {
		s.t = base.Table
	}
	s.base.X, s.base.Y = cols.points(base.X, cand.X, 0), rows.points(base.Y, cand.Y, 0)
	s.cand.X, s.cand.Y = cols.points(base.X, cand.X, 1), rows.points(base.Y, cand.Y, 1)
	s.room, s.low, s.high = s.ofCells(p.room), s.ofCells(p.low), s.ofCells(p.high)
	if s.t.Slice != nil {
		s.in = coordinate.Place(s.t.Slice)
		for k := range s.t.Slice.At {
			s.movedBeyond = s.movedBeyond || !same(p.base.Beyond()[k], p.cand.Beyond()[k])
		}
	}
	s.surface = s.surfaceOf()
	return s
}

// ofCells are numbers of the candidate's cells, as lined up.
func (s *sides) ofCells(all []float64) []float64 {
	if all == nil {
		return nil
	}
	out := make([]float64, len(s.cand.at))
	for i, at := range s.cand.at {
		if out[i] = math.NaN(); at >= 0 {
			out[i] = all[at]
		}
	}
	return out
}

// surfaceOf is the report's surface of the face, of a block by where its slice lies; nil where it has none.
func (s *sides) surfaceOf() *calibrationv1.Surface {
	if s.t.Slice == nil {
		return s.report.GetSurface()
	}
	for _, f := range s.report.GetSurfaces() {
		if s.liesAt(f.GetSlice()) {
			return f
		}
	}
	return nil
}

// liesAt says whether a slice that a report names lies where the face does.
func (s *sides) liesAt(slice *calibrationv1.Slice) bool {
	if len(slice.GetAt()) != len(s.t.Slice.At) {
		return false
	}
	for k, at := range slice.GetAt() {
		if v, number := said.NumberIn(at); number && v != s.t.Slice.At[k].Point || !number && at.GetStringValue() != s.t.Slice.At[k].Label {
			return false
		}
	}
	return true
}
