package definition

import (
	"encoding/binary"
	"fmt"
	"math"
	"math/bits"
	"strconv"

	"witnessmark/tables/image"
)

// Cells is where and how a block of stored values lies: NY rows of NX cells.
type Cells struct {
	Offset    uint64 // of the cell (0,0), into the image
	Bytes     int    // 1, 2, 3, 4 or 8
	Float     bool
	Signed    bool
	Magnitude bool // sign and magnitude instead of two's complement
	Little    bool
	Mask      uint64 // of the stored word; all ones of its width if none
	Shift     uint   // of the mask
	Width     uint   // bits of the value after the mask
	NX, NY    int
	StepX     int64   // bytes from column to column, below 0 where cells run down
	StepY     int64   // bytes from row to row
	NotAValue []int64 // raw codes that are no value, sorted
	Conv      Conversion
}

// At is the offset of a cell's first byte.
func (c *Cells) At(row, col int) uint64 {
	return uint64(int64(c.Offset) + int64(row)*c.StepY + int64(col)*c.StepX)
}

// Bits is a cell's raw bits after byte order, mask and shift.
func (c *Cells) Bits(image []byte, row, col int) uint64 {
	at := c.At(row, col)
	return (c.word(image[at:at+uint64(c.Bytes)]) & c.Mask) >> c.Shift
}

// word is the bytes of a cell in their order, before the mask.
func (c *Cells) word(b []byte) (w uint64) {
	if c.Little {
		for i := len(b) - 1; i >= 0; i-- {
			w = w<<8 | uint64(b[i])
		}
		return w
	}
	for _, v := range b {
		w = w<<8 | uint64(v)
	}
	return w
}

// Read decodes all cells, row by row, into bits, of which there are NX times NY.
func (c *Cells) Read(image []byte, bits []uint64) {
	nx, ny := c.NX, c.NY
	if c.StepY == int64(nx)*c.StepX {
		nx, ny = nx*ny, 1
	}
	for row := range ny {
		c.readRow(image, int(c.At(row, 0)), bits[row*nx:(row+1)*nx])
	}
	if full := ^uint64(0) >> (64 - 8*c.Bytes); c.Mask != full {
		for i, w := range bits {
			bits[i] = (w & c.Mask) >> c.Shift
		}
	}
}

// readRow reads words from an offset on, without the mask.
func (c *Cells) readRow(image []byte, at int, out []uint64) {
	step := int(c.StepX)
	switch {
	case c.Bytes == 1 && step == 1:
		for i, b := range image[at : at+len(out)] {
			out[i] = uint64(b)
		}
	case c.Bytes == 1:
		for i := range out {
			out[i], at = uint64(image[at]), at+step
		}
	case c.Bytes == 2 && step == 2 && !c.Little:
		for i, b := 0, image[at:at+2*len(out)]; i < len(out) && len(b) >= 2; i, b = i+1, b[2:] {
			out[i] = uint64(binary.BigEndian.Uint16(b))
		}
	case c.Bytes == 2 && !c.Little:
		for i := range out {
			out[i], at = uint64(binary.BigEndian.Uint16(image[at:])), at+step
		}
	case c.Bytes == 2:
		for i := range out {
			out[i], at = uint64(binary.LittleEndian.Uint16(image[at:])), at+step
		}
	case c.Bytes == 4 && !c.Little:
		for i := range out {
			out[i], at = uint64(binary.BigEndian.Uint32(image[at:])), at+step
		}
	case c.Bytes == 4:
		for i := range out {
			out[i], at = uint64(binary.LittleEndian.Uint32(image[at:])), at+step
		}
	default:
		for i := range out {
			out[i], at = c.word(image[at:at+c.Bytes]), at+step
		}
	}
}

// Convert is Physical of many cells of which the raw bits are known.
func (c *Cells) Convert(bits []uint64, out []float64) {
	out = out[:len(bits)]
	f, o := c.Conv.Factor, c.Conv.Offset
	switch {
	case c.Float || c.Magnitude || c.Conv.Rational || c.Conv.Points != nil || !c.Signed && c.Width == 64:
		for i, b := range bits {
			out[i] = c.Conv.Apply(c.Number(b))
		}
	case c.Signed:
		up := 64 - c.Width
		for i, b := range bits {
			out[i] = float64(float64(int64(b<<up)>>up)*f) + o
		}
	default:
		for i, b := range bits {
			out[i] = float64(float64(int64(b))*f) + o
		}
	}
}

// Int reads bits as a signed number; meaningless for floats, and for u64 beyond 2^63 (see Raw).
func (c *Cells) Int(b uint64) int64 {
	if !c.Signed || c.Width == 0 {
		return int64(b)
	}
	sign := uint64(1) << (c.Width - 1)
	if c.Magnitude {
		if b&sign != 0 {
			return -int64(b &^ sign)
		}
		return int64(b)
	}
	return int64(b<<(64-c.Width)) >> (64 - c.Width)
}

// Number is the raw value as a float64.
func (c *Cells) Number(b uint64) float64 {
	switch {
	case c.Float && c.Bytes == 4:
		return float64(math.Float32frombits(uint32(b)))
	case c.Float:
		return math.Float64frombits(b)
	case c.Signed:
		return float64(c.Int(b))
	}
	return float64(b)
}

// Physical is a cell's value in the unit of its table or axis.
func (c *Cells) Physical(image []byte, row, col int) float64 {
	return c.Conv.Apply(c.Number(c.Bits(image, row, col)))
}

// Raw prints raw bits as a decimal; empty for floats.
func (c *Cells) Raw(b uint64) string {
	switch {
	case c.Float:
		return ""
	case c.Signed:
		return strconv.FormatInt(c.Int(b), 10)
	}
	return strconv.FormatUint(b, 10)
}

// Delta is candidate minus base in physical units. With an affine conversion of
// integers it is the exact raw difference times the factor, so that rounding of
// the two values does not show.
func (c *Cells) Delta(base, candidate uint64) float64 {
	if c.Float || !c.Conv.Affine() {
		return c.Conv.Apply(c.Number(candidate)) - c.Conv.Apply(c.Number(base))
	}
	if c.Signed {
		b, d := c.Int(base), c.Int(candidate)
		if d >= b {
			return float64(uint64(d)-uint64(b)) * c.Conv.Factor
		}
		return -float64(uint64(b)-uint64(d)) * c.Conv.Factor
	}
	hi, borrow := bits.Sub64(candidate, base, 0)
	if borrow == 0 {
		return float64(hi) * c.Conv.Factor
	}
	return -float64(base-candidate) * c.Conv.Factor
}

// Relative is how much rounding a value of this type may carry: 2^-23 for f32, 1e-9 otherwise.
func (c *Cells) Relative() float64 {
	if c.Float && c.Bytes == 4 {
		return 0x1p-23
	}
	return 1e-9
}

// Rounding is how far two values of this size may lie apart and still be the same number.
func (c *Cells) Rounding(p, q float64) float64 {
	return float64(c.Relative() * max(math.Abs(p), math.Abs(q), c.Conv.Step()))
}

// Step is the physical size of one raw step: |factor|, the coarsest that points make; 1 for a rational or label conversion.
func (c *Conversion) Step() float64 {
	switch {
	case c.Points != nil:
		return c.Points.coarsest()
	case !c.Affine():
		return 1
	}
	return math.Abs(c.Factor)
}

// Apply converts a raw number. A zero denominator gives an infinity (0/0 gives NaN).
func (c *Conversion) Apply(raw float64) float64 {
	switch {
	case c.Points != nil:
		return c.Points.Apply(raw)
	case !c.Rational:
		return float64(raw*c.Factor) + c.Offset
	}
	return quadratic(c.Num, raw) / quadratic(c.Den, raw)
}

// quadratic rounds each product by itself, so that no build fuses it with the sum.
func quadratic(n [3]float64, x float64) float64 {
	return n[0] + float64(n[1]*x) + float64(n[2]*float64(x*x))
}

// Label is the text of a raw value, "raw N" where there is none.
func (c *Conversion) Label(raw int64) string {
	if s, ok := c.Labels.Of(raw); ok {
		return s
	}
	return fmt.Sprintf("raw %d", raw)
}

// IdentityField is a compiled identity field; the bytes lie at Range.
type IdentityField struct {
	ID      string
	Range   image.Range
	Hex     bool // else ASCII
	Expect  *string
	Vehicle bool
	Private bool
}
