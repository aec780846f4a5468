package compare

import (
	"bytes"
	"encoding/binary"
	"slices"
	"sort"

	"witnessmark/tables/definition"
	"witnessmark/tables/image"
)

// block is how much memory is compared at once, and word how finely what differs is told.
const (
	block = 4096
	word  = 8
)

// differing is ranges of offsets that ascend and do not touch, outside of which two images of one size are the same. In each word
// of them some byte differs.
func differing(a, b []byte) (runs []image.Range) {
	for at := 0; at < len(a); at += block {
		end := min(at+block, len(a))
		if bytes.Equal(a[at:end], b[at:end]) {
			continue
		}
		for i := at; i < end; i += word {
			stop := min(i+word, end)
			if alikeWord(a[i:stop], b[i:stop]) {
				continue
			}
			if n := len(runs); n > 0 && runs[n-1].End == uint64(i) {
				runs[n-1].End = uint64(stop)
			} else {
				runs = append(runs, image.Range{Start: uint64(i), End: uint64(stop)})
			}
		}
	}
	return runs
}

func alikeWord(a, b []byte) bool {
	if len(a) == word {
		return binary.LittleEndian.Uint64(a) == binary.LittleEndian.Uint64(b)
	}
	return bytes.Equal(a, b)
}

// known takes what is unknown out of runs; what is left of each differs somewhere.
func known(a, b []byte, runs, unknown []image.Range) []image.Range {
	if len(unknown) == 0 {
		return runs
	}
	return slices.DeleteFunc(image.Minus(runs, image.Join(unknown)), func(r image.Range) bool { return bytes.Equal(a[r.Start:r.End], b[r.Start:r.End]) })
}

// owners says of every byte of some runs which of its bits belong to something, and to what.
type owners struct {
	a, b    []byte
	runs    []image.Range
	first   []int                     // index of a run's first byte in the two slices below
	covered []byte                    // bits that belong to something
	kinds   []kind                    // of what owns bits of it, and if it owns them by the bit, one that differs
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

// overlaps says whether any byte of a range may differ.
func (o *owners) overlaps(r image.Range) bool {
	i := o.from(r.Start)
	return i < len(o.runs) && o.runs[i].Start < r.End
}

// claimRange claims whole bytes, and says whether any of them differs.
func (o *owners) claimRange(r image.Range, k kind) bool {
	differs := false
	for i := o.from(r.Start); i < len(o.runs) && o.runs[i].Start < r.End; i++ {
		run := o.runs[i]
		start, end := max(run.Start, r.Start), min(run.End, r.End)
		differs = differs || !bytes.Equal(o.a[start:end], o.b[start:end])
		from := o.first[i] - int(run.Start)
		covered, kinds := o.covered[from+int(start):from+int(end)], o.kinds[from+int(start):from+int(end)]
		for n := range covered {
			covered[n] = 0xFF
		}
		for n := range kinds {
			kinds[n] |= k
		}
	}
	return differs
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
