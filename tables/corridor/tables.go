package corridor

import (
	"math"
	"slices"

	"witnessmark/tables/definition"
	"witnessmark/tables/image"
	"witnessmark/tables/surface"
)

// table looks at all that a table has where it lies in the start. Where no count and no pointer of it differs, it lies there in
// the candidate, too.
func (c *check) table(t *definition.Table) {
	in, directions, err := c.found(t)
	lowest, moved := uint64(math.MaxUint64), false
	for _, d := range directions {
		if c.claim(d) {
			lowest, moved = min(lowest, d.Offset), true
		}
	}
	if moved {
		c.axis(t, lowest)
	}
	if err != nil {
		return // nothing but its counts and pointers is known to be its own
	}
	for i, a := range in.Axes {
		if a.Cells == nil || !c.claim(a.Cells) {
			continue
		}
		k := 0
		for !c.claimCell(a.Cells, 0, k) {
			k++
		}
		c.axis(t, a.Cells.At(0, k), uint32(i), uint32(k))
	}
	if !c.overlaps(in.Cells.Extent()) {
		return
	}
	first := true
	c.changed(in, func(v cell) {
		c.claimCell(v.cells, v.row, v.col)
		what := Table
		if b, named := c.bounds[t.ID]; named {
			if what = Cell; c.within(b, v) {
				return
			}
		}
		if first {
			c.outside(what, t, v.cells.At(v.row, v.col), uint32(v.slice), uint32(v.row), uint32(v.col))
		}
		first = false
	})
}

// found is a table as it lies in the start, and its pointers and counts; an error where that leads outside, or is not known.
func (p *pair) found(t *definition.Table) (*definition.Table, []*definition.Cells, error) {
	return t.Found(p.start.Bytes, p.knows)
}

// knows says whether all bytes of cells are known.
func (p *pair) knows(c *definition.Cells) bool { return !slices.ContainsFunc(p.gaps, c.Touches) }

// cell is one cell of a table, and its raw bits in both images.
type cell struct {
	cells           *definition.Cells // of its slice
	slice, row, col int
	was, is         uint64
}

// changed visits the cells of a table, as it lies in the start, that differ.
func (p *pair) changed(in *definition.Table, visit func(cell)) {
	for n, t := range p.maps(in) {
		c := t.Cells
		was, is := p.bits(0, c, p.start), p.bits(1, c, p.candidate)
		for i := range was {
			if was[i] != is[i] {
				visit(cell{c, n, i / c.NX, i % c.NX, was[i], is[i]})
			}
		}
	}
}

// bits are the raw bits of cells in an image; they last until scratch is used again.
func (p *pair) bits(scratch int, c *definition.Cells, of *image.Image) []uint64 {
	n := c.NX * c.NY
	p.scratch[scratch] = slices.Grow(p.scratch[scratch][:0], n)[:n]
	c.Read(of.Bytes, p.scratch[scratch])
	return p.scratch[scratch]
}

// maps are the slices of a block; another table is its own one.
func (p *pair) maps(in *definition.Table) []*definition.Table {
	if in.Kind == "block" {
		return in.Slices(p.start.Bytes)
	}
	return []*definition.Table{in}
}

func (p *pair) cell(c *definition.Cells, slice, row, col int) cell {
	return cell{c, slice, row, col, c.Bits(p.start.Bytes, row, col), c.Bits(p.candidate.Bytes, row, col)}
}

// one is the cell alone, as a block of its own.
func (v cell) one() *definition.Cells {
	one := *v.cells
	one.Offset, one.NX, one.NY = v.cells.At(v.row, v.col), 1, 1
	return &one
}

// within says whether a cell that differs lies within a bound: its value is no further away than that and what rounding may make
// of it, as where limits bound a change. What is no number, and what is not known, stays as it is.
func (p *pair) within(b Bound, v cell) bool {
	c := v.cells
	if c.Off(v.was) || c.Off(v.is) || !p.knows(v.one()) {
		return false
	}
	from, to := c.Conv.Apply(c.Number(v.was)), c.Conv.Apply(c.Number(v.is))
	under := func(value, limit, room float64) bool {
		return surface.Finite(value, limit) && -room <= c.Rounding(value, limit)
	}
	highest, lowest := from+b.Up, from-b.Down
	return under(to, highest, highest-to) && under(to, lowest, to-lowest)
}
