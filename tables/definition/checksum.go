package definition

import (
	"fmt"
	"slices"
	"strings"

	"witnessmark/tables/checksum"
	"witnessmark/tables/image"
)

// Checksum is a sum that an image holds over its own bytes.
type Checksum struct {
	ID        string // "table[0]" of the first range that the image lists for "table"
	Algorithm string
	Over      []image.Range // nil where the image lists the ranges
	Stored    *Cells        // 1x1, unsigned, or the 32 bytes of a SHA-256; nil where the image lists the ranges
	Inverse   *Cells        // where the stored bits stand once more, inverted; nil if nowhere
	Blocks    *Blocks       // nil unless the image lists the ranges
	Restamped bool

	algorithm *checksum.Algorithm // nil for SHA-256
	within    bool                // the stored sum is one of the words that are added up to a constant
	word      uint64              // bytes of which Over has whole numbers
	astray    string              // why there is nothing to sum
}

// Blocks is a list of ranges with their sums that stands in the image: a row an entry, a column a part of it.
type Blocks struct {
	Cells           *Cells
	start, end, sum int
	last            uint64 // 1 where the end is the address of the last byte
	space           image.Space
}

// In is the sums as they are in that image: the one, or those that the image lists.
func (c *Checksum) In(image []byte) []*Checksum {
	if c.Blocks == nil {
		return []*Checksum{c}
	}
	b, total := c.Blocks, uint64(0)
	all := make([]*Checksum, b.Cells.NY)
	for i := range all {
		part := &Checksum{ID: fmt.Sprintf("%s[%d]", c.ID, i), Algorithm: c.Algorithm, Restamped: c.Restamped, Stored: b.column(b.sum), algorithm: c.algorithm, word: c.word}
		part.Stored.Offset, part.Stored.NY = b.Cells.At(i, b.sum), 1
		part.listed(b, b.Cells.Bits(image, i, b.start), b.Cells.Bits(image, i, b.end)+b.last, &total)
		all[i] = part
	}
	return all
}

// listed takes over a range of addresses that the image lists, if there is something to sum. Of nothing at all, as
// of an entry that is not in use, the sum is that of no bytes.
func (c *Checksum) listed(b *Blocks, start, end uint64, total *uint64) {
	if start == end {
		return
	}
	r, inside := b.space.Within(image.Range{Start: start, End: end})
	switch {
	case start > end:
		c.astray = fmt.Sprintf("the range ends at 0x%x, before its start 0x%x", end, start)
	case !inside:
		c.astray = fmt.Sprintf("0x%x to 0x%x reaches outside the image", start, end)
	case (end-start)%c.word != 0:
		c.astray = fmt.Sprintf("0x%x to 0x%x is no whole number of words of %d bytes", start, end, c.word)
	case *total+end-start > b.space.Size():
		c.astray = "the ranges listed are together larger than the image"
	default:
		c.Over = []image.Range{r}
		*total += end - start
	}
}

// column is one part of every entry.
func (b *Blocks) column(i int) *Cells {
	cells := *b.Cells
	cells.Offset, cells.NX = b.Cells.At(0, i), 1
	return &cells
}

// Owned is all that the image holds for the sake of this sum: it, its inverse, the list of ranges.
func (c *Checksum) Owned() []*Cells {
	if c.Blocks != nil {
		return []*Cells{c.Blocks.Cells}
	}
	return c.Stamped()
}

// Stamped is what changes where the sum is put right.
func (c *Checksum) Stamped() []*Cells {
	switch {
	case c.Blocks != nil:
		return []*Cells{c.Blocks.column(c.Blocks.sum)}
	case c.Inverse != nil:
		return []*Cells{c.Stored, c.Inverse}
	}
	return []*Cells{c.Stored}
}

// Needs is the offsets that must be known to tell whether the sum is right in that image.
func (c *Checksum) Needs(im []byte) []image.Range {
	var all []image.Range
	for _, cells := range c.Owned() {
		all = append(all, cells.Extent())
	}
	for _, part := range c.In(im) {
		all = append(all, part.Over...)
	}
	return image.Join(all)
}

// Verify is what an image stores and what its bytes give, in hexadecimal, or why they give nothing: right if the
// two are equal. Of a list, see In.
func (c *Checksum) Verify(image []byte) (stored, computed string) {
	stored = digits(c.Stored, c.Stored.all(image))
	if c.Inverse != nil {
		stored += ", inverted " + digits(c.Inverse, c.Inverse.all(image))
	}
	if c.astray != "" {
		return stored, "nothing: " + c.astray
	}
	right := c.of(image)
	computed = digits(c.Stored, right)
	if c.Inverse != nil {
		computed += ", inverted " + digits(c.Inverse, inverted(c.Inverse, right))
	}
	return stored, computed
}

// stamp puts the sum right.
func (c *Checksum) stamp(image []byte) {
	right := c.of(image)
	c.Stored.put(image, right)
	if c.Inverse != nil {
		c.Inverse.put(image, inverted(c.Inverse, right))
	}
}

// of is what the bytes give, cell by cell of Stored.
func (c *Checksum) of(image []byte) []uint64 {
	var parts [][]byte
	for _, r := range c.Over {
		part := image[r.Start:r.End]
		if at := c.Stored.Offset; c.within && r.Start <= at && at < r.End { // it is no part of what it makes up for
			part = slices.Clone(part)
			clear(part[at-r.Start:][:c.Stored.Bytes])
		}
		parts = append(parts, part)
	}
	if c.algorithm != nil {
		return []uint64{c.algorithm.Sum(parts...)}
	}
	var out []uint64
	for _, b := range checksum.Hash(parts...) {
		out = append(out, uint64(b))
	}
	return out
}

func inverted(c *Cells, bits []uint64) []uint64 {
	return []uint64{^bits[0] & (c.Mask >> c.Shift)}
}

// digits prints the bits of a row of cells as one number.
func digits(c *Cells, bits []uint64) string {
	var out strings.Builder
	out.WriteString("0x")
	for _, b := range bits {
		fmt.Fprintf(&out, "%0*x", (c.Width+3)/4, b)
	}
	return out.String()
}

// all is the bits of a row of cells.
func (c *Cells) all(image []byte) []uint64 {
	out := make([]uint64, c.NX)
	for i := range out {
		out[i] = c.Bits(image, 0, i)
	}
	return out
}

// put writes the bits of a row of cells, and leaves what the mask leaves out.
func (c *Cells) put(image []byte, bits []uint64) {
	for i, b := range bits {
		at := c.At(0, i)
		for k := range c.Bytes {
			shift := 8 * k
			if !c.Little {
				shift = 8 * (c.Bytes - 1 - k)
			}
			p := &image[at+uint64(k)]
			*p = *p&^c.MaskByte(k) | byte(b<<c.Shift>>shift)&c.MaskByte(k)
		}
	}
}
