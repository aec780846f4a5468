// Package changed reads the changed cells of a table's report, which are kept in columns: cell by cell,
// each with its place, its values and its raw values. It is the one reader of them.
package changed

import (
	"iter"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
)

// Cells is the changed cells of one table, in the report's order. It is immutable and safe for concurrent use.
type Cells struct {
	m      *calibrationv1.ChangedCells // nil where objs are read
	n      int
	nx, ny int
	moved  [][]int32 // of each axis, by breakpoint, the item of before and 1; nil where none moved
	off    []side    // by changed cell, the sides that hold a code which is no value; nil where none does
	objs   []object  // of a report by rules before number 3
	slices []*calibrationv1.Slice
}

type side uint8

const (
	base side = 1 << iota
	candidate
)

// Cell is one changed cell.
type Cell struct {
	// Slice is a number for Cells.Slice, 0 of what is no block; Row counts along y and Column along x, from 0, as stored.
	Slice, Row, Column int
	// Delta is candidate minus base in the table's unit, where HasDelta: both sides are numbers, at one operating point.
	Delta    float64
	HasDelta bool

	of *Cells
	i  int
}

// Len is how many there are.
func (c *Cells) Len() int { return c.n }

// All is the cells in order, each with its position among the changed ones.
func (c *Cells) All() iter.Seq2[int, Cell] {
	return func(yield func(int, Cell) bool) {
		row, column, slice, left := 0, 0, 0, 0
		for i := range c.n {
			if c.objs != nil {
				if !yield(i, c.object(i)) {
					return
				}
				continue
			}
			if len(c.m.Skipped) > 0 {
				left = int(c.m.Skipped[i])
			}
			if column += left; column >= c.nx {
				row, column = row+column/c.nx, column%c.nx
				if row >= c.ny {
					slice, row = slice+row/c.ny, row%c.ny
				}
			}
			if !yield(i, c.cell(i, slice, row, column)) {
				return
			}
			column++
		}
	}
}

func (c *Cells) cell(i, slice, row, column int) Cell {
	out := Cell{Slice: slice, Row: row, Column: column, of: c, i: i}
	if len(c.m.Words) == 0 && (c.off == nil || c.off[i] == 0) && (c.moved == nil || c.stands(slice, row, column)) {
		out.Delta, out.HasDelta = c.delta(i), true
	}
	return out
}

// stands says that a cell has its operating point on both sides.
func (c *Cells) stands(slice, row, column int) bool {
	for k, moved := range c.moved {
		at := slice
		switch k {
		case 0:
			at = column
		case 1:
			at = row
		default:
			n := int(c.m.Axes[k].Count)
			at, slice = slice%n, slice/n
		}
		if moved != nil && moved[at] > 0 {
			return false
		}
	}
	return true
}

// delta is the exact difference of raw values times the factor where a conversion is affine: no rounding of the two values shows.
func (c *Cells) delta(i int) float64 {
	m := c.m
	if m.Affine == nil {
		return m.Candidate[i] - m.Base[i]
	}
	was, rise := m.BaseRaw[i], m.Rise[i]
	is := was + rise // modulo 2^64, as both are
	falls := is < was
	if m.BaseUnsigned {
		falls = uint64(is) < uint64(was)
	}
	if falls {
		return -float64(uint64(-rise)) * m.Affine.Factor
	}
	return float64(uint64(rise)) * m.Affine.Factor
}

// Base is what the base holds, converted.
func (c Cell) Base() Value { return c.value(base) }

// Candidate is what the candidate holds, converted.
func (c Cell) Candidate() Value { return c.value(candidate) }

func (c Cell) value(of side) Value {
	if c.of.objs != nil {
		return c.of.objs[c.i].value[of]
	}
	m := c.of.m
	numbers, words := m.Base, m.BaseWord
	if of == candidate {
		numbers, words = m.Candidate, m.CandidateWord
	}
	switch {
	case c.of.off != nil && c.of.off[c.i]&of != 0:
		return Value{}
	case len(m.Words) > 0:
		return Value{Is: Word, Word: m.Words[words[c.i]]}
	case m.Affine != nil:
		return Value{Is: Number, Number: float64(c.raw(of).number()*m.Affine.Factor) + m.Affine.Offset}
	}
	return Value{Is: Number, Number: numbers[c.i]}
}

// BaseRaw is the base's raw value.
func (c Cell) BaseRaw() Raw { return c.raw(base) }

// CandidateRaw is the candidate's raw value.
func (c Cell) CandidateRaw() Raw { return c.raw(candidate) }

func (c Cell) raw(of side) Raw {
	if c.of.objs != nil {
		return c.of.objs[c.i].raw[of]
	}
	m, was := c.of.m, int64(0)
	if len(m.BaseRaw) > 0 {
		was = m.BaseRaw[c.i]
	}
	switch {
	case of == base:
		return Raw{Given: len(m.BaseRaw) > 0, Bits: uint64(was), Unsigned: m.BaseUnsigned}
	case len(m.Rise) > 0:
		return Raw{Given: true, Bits: uint64(was + m.Rise[c.i]), Unsigned: m.CandidateUnsigned}
	}
	return Raw{}
}

// X is the cell's place along x; not Given of a table without that axis.
func (c Cell) X() Place { return c.place(0, c.Column) }

// Y is X along y.
func (c Cell) Y() Place { return c.place(1, c.Row) }

func (c Cell) place(k, at int) Place {
	if c.of.objs != nil {
		return c.of.objs[c.i].place[k]
	}
	if k >= len(c.of.m.Axes) {
		return Place{}
	}
	a := c.of.m.Axes[k]
	if len(a.Labels) > 0 {
		return Place{Given: true, Named: true, Label: a.Labels[at]}
	}
	out := Place{Given: true, Point: a.Points[at]}
	if c.of.moved != nil && c.of.moved[k] != nil && c.of.moved[k][at] > 0 {
		out.Moved, out.Before = true, a.Before[c.of.moved[k][at]-1]
	}
	return out
}

// number is the raw value as it is converted.
func (r Raw) number() float64 {
	if r.Unsigned {
		return float64(r.Bits)
	}
	return float64(int64(r.Bits))
}
