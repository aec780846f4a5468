package definition

import (
	"math"
	"math/bits"
	"math/rand/v2"
	"testing"
	"time"
)

// Cells that are read together, and converted together, are what they are one by one.
func TestReadIsBitsOfEach(t *testing.T) {
	seed := uint64(time.Now().UnixNano())
	t.Logf("seed %d", seed)
	r := rand.New(rand.NewPCG(seed, 0))
	image := make([]byte, 1<<10)
	for i := range image {
		image[i] = byte(r.Uint32())
	}
	for range 4000 {
		c := randomCells(r)
		raw, values := make([]uint64, c.NX*c.NY), make([]float64, c.NX*c.NY)
		c.Read(image, raw)
		c.Convert(raw, values)
		for i, b := range raw {
			row, col := i/c.NX, i%c.NX
			if want := c.Bits(image, row, col); b != want {
				t.Fatalf("%+v: cell %d is %x, by itself %x", c, i, b, want)
			}
			if v, want := values[i], c.Physical(image, row, col); math.Float64bits(v) != math.Float64bits(want) {
				t.Fatalf("%+v: cell %d is %v, by itself %v", c, i, v, want)
			}
		}
	}
}

// randomCells lie somewhere in a kilobyte.
func randomCells(r *rand.Rand) *Cells {
	c := &Cells{Bytes: []int{1, 2, 3, 4, 8}[r.IntN(5)], Little: r.IntN(2) == 0, NX: 1 + r.IntN(6), NY: 1 + r.IntN(6)}
	c.Width, c.Float = uint(8*c.Bytes), c.Bytes >= 4 && r.IntN(3) == 0
	c.Mask = ^uint64(0) >> (64 - c.Width)
	if !c.Float {
		c.Signed = r.IntN(2) == 0
		c.Magnitude = c.Signed && r.IntN(3) == 0
		if r.IntN(3) == 0 {
			c.Shift = uint(r.IntN(int(c.Width)))
			c.Mask = c.Mask >> c.Shift << c.Shift
			c.Width = uint(bits.OnesCount64(c.Mask))
		}
	}
	c.StepX = int64(c.Bytes + r.IntN(3)*r.IntN(2))
	c.StepY = int64(c.NX)*c.StepX + int64(r.IntN(3)*r.IntN(2))
	if r.IntN(3) == 0 {
		c.StepX, c.StepY = int64(c.NY)*c.StepX, c.StepX
	}
	if c.Offset = uint64(r.IntN(200)); r.IntN(3) == 0 {
		c.Offset, c.StepX, c.StepY = c.Offset+800, -c.StepX, -c.StepY
	}
	switch c.Conv = (Conversion{Factor: r.NormFloat64(), Offset: r.NormFloat64()}); r.IntN(6) {
	case 0:
		c.Conv = Conversion{Rational: true, Num: [3]float64{1, r.NormFloat64()}, Den: [3]float64{r.NormFloat64(), 1}}
	case 1:
		c.Conv = Conversion{Points: &Points{Raw: []float64{-10, 5, 300}, Physical: []float64{4, 1, r.NormFloat64()}}}
	}
	return c
}
