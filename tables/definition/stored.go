package definition

import (
	"fmt"
	"math/bits"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/image"
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

// SizeOf is the bytes of a stored type; 0 of what is none.
func SizeOf(kind string) uint64 { return uint64(types[kind].Bytes) }

// shape is how many cells there are along each axis, x first, and in which order they lie.
type shape struct {
	counts   []int
	yFastest bool
}

// stored lays out cells that neither move nor vary, and checks that all of them lie inside the image.
func (c *compiler) stored(path, what string, s *calibrationv1.Stored, sh shape) (*Cells, error) {
	_, cells, err := c.placed(path, what, s, sh)
	return cells, err
}

// placed lays cells out. The cells are those that there are at the most; behind a pointer they stand for their number alone,
// somewhere in the image.
func (c *compiler) placed(path, what string, s *calibrationv1.Stored, sh shape) (*placing, *Cells, error) {
	word, err := c.word(path, s)
	if err != nil {
		return nil, nil, err
	}
	p := &placing{word: word, first: uint64(s.GetAddress()), most: sh.counts, yFastest: sh.yFastest, down: s.GetReversed(), space: c.lay.Space}
	if err := c.strides(path, s, p); err != nil {
		return nil, nil, err
	}
	if s.GetLayout() != "" {
		if err := c.oneOf(path+".layout", s.GetLayout(), "packed", "fixed"); err != nil {
			return nil, nil, err
		}
	}
	if s.GetPointer() != "" {
		at, err := c.pointed(path, what, s, p)
		return p, p.cells(at, p.most), err
	}
	// No sum below can overflow: MaxCells bounds the counts, and steps are below 2^55.
	n := p.span(p.most)
	if back := n - uint64(p.word.Bytes); p.down && back > p.first {
		return nil, nil, c.at.Errorf(path, "cells inside the image", "%d bytes do not fit below 0x%x", n, p.first)
	}
	at, err := c.inside(path, p.low(), p.low()+n)
	if err != nil {
		return nil, nil, err
	}
	cells := p.cells(at, p.most)
	c.used = append(c.used, usedCells{path, what, cells})
	return p, cells, nil
}

// pointed finds the pointer to cells, and a place in the image where they would fit.
func (c *compiler) pointed(path, what string, s *calibrationv1.Stored, p *placing) (image.Range, error) {
	if err := c.oneOf(path+".pointer", s.GetPointer(), "u16", "u24", "u32"); err != nil {
		return image.Range{}, err
	}
	n, before := p.span(p.most), uint64(0)
	for _, region := range p.space {
		if n <= region.End-region.Start {
			var err error
			p.pointer, err = c.stored(path, "the pointer of "+what, &calibrationv1.Stored{Address: s.GetAddress(), Type: s.GetPointer(), ByteOrder: s.GetByteOrder()}, shape{})
			return image.Range{Start: before, End: before + n}, err
		}
		before += region.End - region.Start
	}
	return image.Range{}, c.at.Errorf(path, fmt.Sprintf("as many bytes as a region holds: %v", p.space), "its %d bytes fit nowhere in the image", n)
}

// word says how one cell is read.
func (c *compiler) word(path string, s *calibrationv1.Stored) (cells Cells, err error) {
	cells, known := types[s.GetType()]
	if !known {
		return cells, c.at.Errorf(path+".type", typeNames, "%.60q is not a type", s.GetType())
	}
	order := s.GetByteOrder()
	if order == "" {
		order = c.d.GetByteOrder()
	} else if err := c.oneOf(path+".byte_order", order, "big", "little"); err != nil {
		return cells, err
	}
	cells.Little = order == "little"
	if s.GetSign() != "" {
		if err := c.oneOf(path+".sign", s.GetSign(), "magnitude"); err != nil {
			return cells, err
		}
		if !cells.Signed {
			return cells, c.at.Errorf(path+".sign", "a signed whole type: s8, s16, s24, s32, s64", "type %s has no sign", s.GetType())
		}
		cells.Magnitude = true
	}
	cells.Width = uint(8 * cells.Bytes)
	cells.Mask = ^uint64(0) >> (64 - cells.Width)
	if s.Mask != nil {
		err = c.mask(path+".mask", s, &cells)
	}
	return cells, err
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

// strides sets the distances between cells and refuses cells that share bytes with each other.
func (c *compiler) strides(path string, s *calibrationv1.Stored, p *placing) error {
	size := uint64(p.word.Bytes)
	p.step = size
	if s.Stride != nil {
		if p.step = uint64(s.GetStride()); p.step < size {
			return c.at.Errorf(path+".stride", fmt.Sprintf("%d or more, the size of type %s", size, s.GetType()), "%d bytes from cell to cell", p.step)
		}
	}
	n := 1
	for _, along := range p.most { // no overflow: whoever calls bounds the product
		n *= along
	}
	if c.cells += uint64(n); c.cells > MaxCells {
		return c.tooMany(path)
	}
	if s.RowStride == nil {
		return nil
	}
	if len(p.most) < 2 {
		return c.at.Errorf(path+".row_stride", "row_stride of maps and blocks only", "there are no rows here")
	}
	p.row = uint64(s.GetRowStride())
	fast := p.most[p.axis(0)]
	if shareBytes(p.step, p.row, size, fast, n/fast) {
		return c.at.Errorf(path+".row_stride", fmt.Sprintf("%d if row follows row, or another that keeps cells apart", uint64(fast)*p.step),
			"with %d bytes from row to row, cells share bytes", p.row)
	}
	return nil
}

func (c *compiler) tooMany(path string) error {
	return c.at.Errorf(path, fmt.Sprintf("at most %d cells in a definition, breakpoints included", MaxCells), "there are too many cells")
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
