package carry

import (
	"math"

	"witnessmark/tables/definition"
)

// A surface of so many cells has a shape, and keeps it while its values go up and down together like this.
const (
	cellsOfAShape = 32
	correlated    = 0.98
)

// shaped says whether cells have the same shape in another image, so much further on: their values are correlated.
func shaped(c *definition.Cells, delta int64, from, to []byte) bool {
	n := float64(c.NX * c.NY)
	if n < cellsOfAShape {
		return false
	}
	moved := *c
	moved.Offset = uint64(int64(c.Offset) + delta)
	var a, b, aa, bb, ab float64
	for row := range c.NY {
		for col := range c.NX {
			x, y := c.Number(c.Bits(from, row, col)), c.Number(moved.Bits(to, row, col))
			a, b = a+x, b+y
			aa, bb, ab = aa+float64(x*x), bb+float64(y*y), ab+float64(x*y)
		}
	}
	sxx, syy, sxy := float64(n*aa)-float64(a*a), float64(n*bb)-float64(b*b), float64(n*ab)-float64(a*b)
	return sxx > 0 && syy > 0 && sxy >= correlated*math.Sqrt(sxx)*math.Sqrt(syy)
}
