package definition

import (
	"sort"

	"witnessmark/tables/image"
)

// Shares says whether two blocks of cells have a bit in common: masks may part the bytes that both lie on.
func (c *Cells) Shares(o *Cells) bool {
	common := image.Common(c.Ranges(), o.Ranges())
	if len(common) == 0 {
		return false
	}
	of := map[uint64]byte{} // c's bits of each byte that both have
	shared := false
	c.eachByte(common, func(at uint64, mask byte) { of[at] |= mask })
	o.eachByte(common, func(at uint64, mask byte) { shared = shared || of[at]&mask != 0 })
	return shared
}

// Solid says that the cells take every bit of their extent.
func (c *Cells) Solid() bool {
	size, nx, ny := int64(c.Bytes), int64(c.NX), int64(c.NY)
	x, y := max(c.StepX, -c.StepX), max(c.StepY, -c.StepY)
	return c.Mask == ^uint64(0)>>(64-8*size) && (x == size && (ny == 1 || y == nx*size) || y == size && (nx == 1 || x == ny*size) || nx == 1 && ny == 1)
}

// eachByte visits the bytes of cells that lie within ranges, with the bits that the cells take of them.
func (c *Cells) eachByte(within []image.Range, visit func(at uint64, mask byte)) {
	for row := range c.NY {
		for col := range c.NX {
			for i := range c.Bytes {
				at := c.At(row, col) + uint64(i)
				k := sort.Search(len(within), func(k int) bool { return within[k].End > at })
				if k < len(within) && within[k].Start <= at {
					visit(at, c.MaskByte(i))
				}
			}
		}
	}
}

// MaskByte is the part of a cell's mask that lies in its i-th byte as stored.
func (c *Cells) MaskByte(i int) byte {
	if !c.Little {
		i = c.Bytes - 1 - i
	}
	return byte(c.Mask >> (8 * i))
}
