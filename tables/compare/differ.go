package compare

import (
	"bytes"
	"encoding/binary"
	"math/bits"
	"sort"

	"witnessmark/tables/definition"
	"witnessmark/tables/image"
)

// block is how much memory is compared at once before single bytes are looked at.
const block = 4096

// differing is the maximal ranges of offsets where two images of one size differ.
func differing(a, b []byte) (runs []image.Range) {
	for at := 0; at < len(a); at += block {
		end := min(at+block, len(a))
		if p, q := a[at:end], b[at:end]; !bytes.Equal(p, q) {
			runs = differingIn(p, q, uint64(at), runs)
		}
	}
	return runs
}

// differingIn adds the runs of a part of both, which begins at an offset.
func differingIn(a, b []byte, at uint64, runs []image.Range) []image.Range {
	add := func(start, end uint64) {
		if n := len(runs); n > 0 && runs[n-1].End == start {
			runs[n-1].End = end
			return
		}
		runs = append(runs, image.Range{Start: start, End: end})
	}
	for ; len(a) >= 8; a, b, at = a[8:], b[8:], at+8 {
		x := binary.LittleEndian.Uint64(a) ^ binary.LittleEndian.Uint64(b)
		const low = 0x7f7f7f7f7f7f7f7f
		for unlike := (x&low + low | x) &^ low; unlike != 0; { // the top bit of each byte that differs
			start := uint64(bits.TrailingZeros64(unlike)) / 8
			end := start + uint64(bits.TrailingZeros64(^(unlike>>(8*start)|low)))/8
			add(at+start, at+end)
			unlike &^= 1<<(8*end) - 1 // of all eight a shift by 64 leaves none
		}
	}
	for i := range a {
		if a[i] != b[i] {
			add(at+uint64(i), at+uint64(i)+1)
		}
	}
	return runs
}

// owners says of every differing byte which of its bits belong to something, and to what.
type owners struct {
	a, b    []byte
	runs    []image.Range
	first   []int                     // index of a run's first byte in the two slices below
	covered []byte                    // bits that belong to something
	kinds   []kind                    // of what owns a differing bit
	axes    map[*definition.Axis]bool // claimed already, and whether any of their bits differ
}

// kind is a set of what a byte belongs to.
type kind uint8

const (
	ofIdentity kind = 1 << iota
	ofTable
	ofChecksum
	ofVolatile
	allKinds
)

func newOwners(a, b []byte, runs []image.Range) *owners {
	o := &owners{a: a, b: b, runs: runs, first: make([]int, len(runs)), axes: map[*definition.Axis]bool{}}
	n := 0
	for i, r := range runs {
		o.first[i] = n
		n += int(r.End - r.Start)
	}
	o.covered, o.kinds = make([]byte, n), make([]kind, n)
	return o
}

// from is the first run that ends behind offset.
func (o *owners) from(offset uint64) int {
	return sort.Search(len(o.runs), func(i int) bool { return o.runs[i].End > offset })
}

// overlaps says whether any byte of a range differs.
func (o *owners) overlaps(r image.Range) bool {
	i := o.from(r.Start)
	return i < len(o.runs) && o.runs[i].Start < r.End
}

// claimRange claims whole bytes, and says whether any of them differs.
func (o *owners) claimRange(r image.Range, k kind) bool {
	first := o.from(r.Start)
	i := first
	for ; i < len(o.runs) && o.runs[i].Start < r.End; i++ {
		run := o.runs[i]
		from := o.first[i] - int(run.Start)
		start, end := from+int(max(run.Start, r.Start)), from+int(min(run.End, r.End))
		covered, kinds := o.covered[start:end], o.kinds[start:end]
		for n := range covered {
			covered[n] = 0xFF
		}
		for n := range kinds {
			kinds[n] |= k
		}
	}
	return i > first
}

// claimParts claims what stands in every image where it is declared, and says by place which tables differ, and which axes that
// no table has. Parts and runs both ascend.
func (o *owners) claimParts(lay *definition.Layout) (tables []bool, unused []int) {
	x, runs := lay.Index(), o.runs
	tables = make([]bool, len(lay.Tables))
	for i := range x.Parts {
		p := &x.Parts[i]
		for len(runs) > 0 && runs[0].End <= p.Start {
			runs = runs[1:]
		}
		switch {
		case len(runs) == 0:
			return tables, unused
		case runs[0].Start >= p.End:
		case p.Table >= 0:
			t := lay.Tables[p.Table]
			tables[p.Table] = o.claimCellsOf(t, o.b) || tables[p.Table]
		case o.claimAxis(lay.Axes[p.Axis]):
			for _, k := range x.Users[p.Axis] {
				tables[k] = true
			}
			if x.Users[p.Axis] == nil {
				unused = append(unused, p.Axis)
			}
		}
	}
	return tables, unused
}

// claimTable claims what a table and its axes lie on in an image, and says whether any of it differs.
func (o *owners) claimTable(t *definition.Table, image []byte) bool {
	changed := o.claimCellsOf(t, image)
	for _, a := range t.Axes {
		changed = o.claimAxis(a) || changed
	}
	return changed
}

// claimCellsOf claims a table's cells. Between the slices of a block may lie what is none of its own.
func (o *owners) claimCellsOf(t *definition.Table, image []byte) (changed bool) {
	if t.Kind != "block" || !o.overlaps(t.Cells.Extent()) {
		return o.claimCells(t.Cells, ofTable)
	}
	for _, slice := range t.Slices(image) {
		changed = o.claimCells(slice.Cells, ofTable) || changed
	}
	return changed
}

// claimAxis claims an axis once, however many tables it has.
func (o *owners) claimAxis(a *definition.Axis) bool {
	if a.Cells == nil || !o.overlaps(a.Cells.Extent()) {
		return false
	}
	changed, claimed := o.axes[a]
	if !claimed {
		changed = o.claimCells(a.Cells, ofTable)
		o.axes[a] = changed
	}
	return changed
}

// claimCells claims the bits that a block of cells decodes, and says whether any of them differs.
func (o *owners) claimCells(c *definition.Cells, k kind) (changed bool) {
	extent := c.Extent()
	switch {
	case !o.overlaps(extent):
		return false
	case c.Solid():
		return o.claimRange(extent, k)
	}
	for row := range c.NY {
		for col := range c.NX {
			at := c.At(row, col)
			for i := range c.Bytes {
				off := at + uint64(i)
				diff := o.a[off] ^ o.b[off]
				mask := c.MaskByte(i)
				if diff == 0 || mask == 0 {
					continue
				}
				run := o.from(off)
				if run == len(o.runs) || o.runs[run].Start > off { // unknown
					continue
				}
				n := o.first[run] + int(off-o.runs[run].Start)
				o.covered[n] |= mask
				if diff&mask != 0 {
					o.kinds[n] |= k
					changed = true
				}
			}
		}
	}
	return changed
}
