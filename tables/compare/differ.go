package compare

import (
	"bytes"
	"sort"

	"witnessmark/tables/definition"
	"witnessmark/tables/image"
)

// block is how much memory is compared at once before single bytes are looked at.
const block = 4096

// differing is the maximal ranges of offsets where two images of one size differ.
func differing(a, b []byte) []image.Range {
	if bytes.Equal(a, b) {
		return nil
	}
	var out []image.Range
	open := false
	for at := 0; at < len(a); at += block {
		end := min(at+block, len(a))
		if bytes.Equal(a[at:end], b[at:end]) {
			open = false
			continue
		}
		for i := at; i < end; i++ {
			switch {
			case a[i] == b[i]:
				open = false
			case open:
				out[len(out)-1].End++
			default:
				out, open = append(out, image.Range{Start: uint64(i), End: uint64(i) + 1}), true
			}
		}
	}
	return out
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

// claimRange claims whole bytes.
func (o *owners) claimRange(r image.Range, k kind) {
	for i := o.from(r.Start); i < len(o.runs) && o.runs[i].Start < r.End; i++ {
		run := o.runs[i]
		for at := max(run.Start, r.Start); at < min(run.End, r.End); at++ {
			n := o.first[i] + int(at-run.Start)
			o.covered[n] = 0xFF
			o.kinds[n] |= k
		}
	}
}

// claimTable claims what a table and its axes lie on in an image, and says whether any of it differs. Between the slices
// of a block may lie what is none of its own.
func (o *owners) claimTable(t *definition.Table, image []byte) bool {
	changed := false
	switch {
	case !o.overlaps(t.Cells.Extent()):
	case t.Kind == "block":
		for _, slice := range t.Slices(image) {
			changed = o.claimCells(slice.Cells, ofTable) || changed
		}
	default:
		changed = o.claimCells(t.Cells, ofTable)
	}
	for _, a := range t.Axes {
		changed = o.claimAxis(a) || changed
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
	if !o.overlaps(c.Extent()) {
		return false
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
