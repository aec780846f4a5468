package compare

import (
	"witnessmark/tables/definition"
	"witnessmark/tables/surface"
)

// reading is a table of one side. It is decoded when that is asked for: most changes are told by raw bits alone.
type reading struct {
	t        *definition.Table // as it lies in the image; nil where it is not known
	side     *side
	declared *definition.Table
	d        *surface.Decoded
}

// reading is nothing where this side lacks a table, or bytes of it, or where it leads outside.
func (s *side) reading(t *definition.Table) reading {
	if t == nil || s.im == nil || len(s.holes.table(t)) > 0 {
		return reading{}
	}
	in, err := s.lies(t)
	if err != nil {
		return reading{}
	}
	return reading{t: in, side: s, declared: t}
}

// decoded is nil where the table is not known.
func (r *reading) decoded() *surface.Decoded {
	if r.d == nil && r.t != nil {
		r.d = r.side.read(r.declared)
	}
	return r.d
}

// read is what was decoded already, in place of a side's.
func read(d *surface.Decoded) reading { return reading{t: d.Table, d: d} }

// bits are the raw bits of all cells, slice by slice and row by row; they last until scratch is used again.
func (r *reading) bits(scratch *[]uint64) []uint64 {
	if r.d != nil || r.t.Kind == "block" {
		return r.decoded().Bits
	}
	n := r.t.Cells.NX * r.t.Cells.NY
	if len(*scratch) < n {
		*scratch = make([]uint64, n)
	}
	out := (*scratch)[:n]
	r.t.Cells.Read(r.side.im.Bytes, out)
	return out
}

// points are the breakpoints along an axis as stored, and their raw bits: nil where they are not stored.
func (r *reading) points(k int) ([]float64, []uint64) {
	if r.side == nil {
		return pointsOf(r.d, k), nil
	}
	return r.side.reader.Points(r.t.Axes[k])
}

// numeric says that a table's cells are numbers.
func numeric(t *definition.Table) bool { return t.Kind != textKind && t.Cells.Conv.Labels == nil }

// cellsOf counts the cells of a table as it lies in an image; a text is one.
func cellsOf(t *definition.Table) int {
	n := 1
	for _, a := range t.Axes {
		n *= a.Count
	}
	return n
}
