package definition

import (
	"fmt"
	"math/bits"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
)

const typeNames = "u8, s8, u16, s16, u24, s24, u32, s32, u64, s64, f32, f64"

var types = map[string]Cells{
	"u8": {Bytes: 1}, "s8": {Bytes: 1, Signed: true},
	"u16": {Bytes: 2}, "s16": {Bytes: 2, Signed: true},
	"u24": {Bytes: 3}, "s24": {Bytes: 3, Signed: true},
	"u32": {Bytes: 4}, "s32": {Bytes: 4, Signed: true},
	"u64": {Bytes: 8}, "s64": {Bytes: 8, Signed: true},
	"f32": {Bytes: 4, Float: true}, "f64": {Bytes: 8, Float: true},
}

// shape is how many cells there are, and in which order they lie.
type shape struct {
	nx, ny   int
	rows     bool // a map
	yFastest bool
}

// stored lays cells out and checks that all of them lie inside the image.
func (c *compiler) stored(path, what string, s *calibrationv1.Stored, sh shape) (*Cells, error) {
	cells, err := c.word(path, s)
	if err != nil {
		return nil, err
	}
	cells.NX, cells.NY = sh.nx, sh.ny
	if err := c.steps(path, s, cells, sh); err != nil {
		return nil, err
	}
	// No sum below can overflow: MaxCells bounds NX and NY, and steps are below 2^55.
	start := uint64(s.GetAddress())
	end := start + uint64(cells.NX-1)*cells.StepX + uint64(cells.NY-1)*cells.StepY + uint64(cells.Bytes)
	r, err := c.inside(path, start, end)
	if err != nil {
		return nil, err
	}
	cells.Offset = r.Start
	c.used = append(c.used, usedCells{path, what, cells})
	return cells, nil
}

// word says how one cell is read.
func (c *compiler) word(path string, s *calibrationv1.Stored) (*Cells, error) {
	cells, known := types[s.GetType()]
	if !known {
		return nil, c.at.Errorf(path+".type", typeNames, "%.60q is not a type", s.GetType())
	}
	order := s.GetByteOrder()
	if order == "" {
		order = c.d.GetByteOrder()
	} else if err := c.oneOf(path+".byte_order", order, "big", "little"); err != nil {
		return nil, err
	}
	cells.Little = order == "little"
	if s.GetSign() != "" {
		if err := c.oneOf(path+".sign", s.GetSign(), "magnitude"); err != nil {
			return nil, err
		}
		if !cells.Signed {
			return nil, c.at.Errorf(path+".sign", "a signed whole type: s8, s16, s24, s32, s64", "type %s has no sign", s.GetType())
		}
		cells.Magnitude = true
	}
	cells.Width = uint(8 * cells.Bytes)
	cells.Mask = ^uint64(0) >> (64 - cells.Width)
	if s.Mask == nil {
		return &cells, nil
	}
	if err := c.mask(path+".mask", s, &cells); err != nil {
		return nil, err
	}
	return &cells, nil
}

func (c *compiler) mask(path string, s *calibrationv1.Stored, cells *Cells) error {
	mask := s.GetMask()
	if cells.Float {
		return c.at.Errorf(path, "a mask on whole numbers only", "type %s is a float", s.GetType())
	}
	if mask&^cells.Mask != 0 {
		return c.at.Errorf(path, fmt.Sprintf("bits within 0x%x", cells.Mask), "0x%x is wider than type %s", mask, s.GetType())
	}
	shift := uint(bits.TrailingZeros64(mask))
	if run := mask >> shift; mask == 0 || run&(run+1) != 0 {
		return c.at.Errorf(path, "one unbroken run of bits, as in 0x0ff0", "0x%x is not one", mask)
	}
	cells.Mask, cells.Shift, cells.Width = mask, shift, uint(bits.OnesCount64(mask))
	return nil
}

// steps sets the distances between cells and refuses cells that share bytes with each other.
func (c *compiler) steps(path string, s *calibrationv1.Stored, cells *Cells, sh shape) error {
	size := uint64(cells.Bytes)
	step := size
	if s.Stride != nil {
		if step = uint64(s.GetStride()); step < size {
			return c.at.Errorf(path+".stride", fmt.Sprintf("%d or more, the size of type %s", size, s.GetType()), "%d bytes from cell to cell", step)
		}
	}
	if c.cells += uint64(sh.nx) * uint64(sh.ny); c.cells > MaxCells {
		return c.at.Errorf(path, fmt.Sprintf("at most %d cells in a definition, breakpoints included", MaxCells), "there are too many cells")
	}
	fast, slow := sh.nx, sh.ny
	if sh.yFastest {
		fast, slow = slow, fast
	}
	row := uint64(fast) * step
	if s.RowStride != nil {
		if !sh.rows {
			return c.at.Errorf(path+".row_stride", "row_stride of a map only", "there are no rows here")
		}
		row = uint64(s.GetRowStride())
		if shareBytes(step, row, size, fast, slow) {
			return c.at.Errorf(path+".row_stride", fmt.Sprintf("%d if row follows row, or another that keeps cells apart", uint64(fast)*step),
				"with %d bytes from row to row, cells share bytes", row)
		}
	}
	cells.StepX, cells.StepY = step, row
	if sh.yFastest {
		cells.StepX, cells.StepY = row, step
	}
	return nil
}

// shareBytes reports whether two cells of a grid overlap: some i steps lie closer than a
// cell's size to some j rows.
func shareBytes(step, row, size uint64, fast, slow int) bool {
	for j := uint64(1); j < uint64(slow); j++ {
		at := j * row
		for _, i := range []uint64{at / step, at/step + 1} {
			i = min(i, uint64(fast-1))
			if max(at, i*step)-min(at, i*step) < size {
				return true
			}
		}
	}
	return false
}
