package corridor

import (
	"bytes"
	"sort"

	"witnessmark/tables/definition"
	"witnessmark/tables/image"
)

// block is how much memory is compared at once.
const block = 256

// difference is where two images differ, and what of that nothing has claimed.
type difference struct {
	was, is []byte
	runs    []image.Range // offsets that ascend; outside of them both images are the same
	left    []byte        // by offset: bits that differ and that nothing has claimed
}

func differenceOf(was, is []byte) difference {
	d := difference{was: was, is: is}
	for at := 0; at < len(was); at += block {
		end := min(at+block, len(was))
		if bytes.Equal(was[at:end], is[at:end]) {
			continue
		}
		if d.left == nil {
			d.left = make([]byte, len(was))
		}
		d.give(image.Range{Start: uint64(at), End: uint64(end)})
		if n := len(d.runs); n > 0 && d.runs[n-1].End == uint64(at) {
			d.runs[n-1].End = uint64(end)
		} else {
			d.runs = append(d.runs, image.Range{Start: uint64(at), End: uint64(end)})
		}
	}
	return d
}

// give has nothing claim any bit of a range.
func (d *difference) give(r image.Range) {
	for i := r.Start; i < r.End; i++ {
		d.left[i] = d.was[i] ^ d.is[i]
	}
}

// overlaps says whether any byte of a range may differ.
func (d *difference) overlaps(r image.Range) bool {
	i := sort.Search(len(d.runs), func(i int) bool { return d.runs[i].End > r.Start })
	return i < len(d.runs) && d.runs[i].Start < r.End
}

// claim takes the bits of cells, and says whether any of them differs.
func (d *difference) claim(c *definition.Cells) (differs bool) {
	if !d.overlaps(c.Extent()) {
		return false
	}
	for row := range c.NY {
		for col := range c.NX {
			differs = d.claimCell(c, row, col) || differs
		}
	}
	return differs
}

func (d *difference) claimCell(c *definition.Cells, row, col int) (differs bool) {
	at := c.At(row, col)
	for i := range c.Bytes {
		off, mask := at+uint64(i), c.MaskByte(i)
		d.left[off] &^= mask
		differs = differs || (d.was[off]^d.is[off])&mask != 0
	}
	return differs
}
