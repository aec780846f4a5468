package compare

import (
	"math"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/definition"
	"witnessmark/tables/surface"
)

// change is one table that differs between two images.
type change struct {
	of                   *pairing // nil where nothing could be compared
	id                   string
	baseTable, candTable *definition.Table
	one                  bool             // both sides are of one definition
	base, cand           *surface.Decoded // cand is nil where it is not known
	axes                 []*along         // x, y, and those beyond
	cells                []uint32         // changed ones, by index into what is decoded of the candidate, ascending
	were                 []uint32         // their indices in the base; nil where they are the same
	joints               []*joint         // none where breakpoints stand, or cannot be interpolated
	report               *calibrationv1.TableReport
	found                *change // from the image as found to the candidate; nil where there is none
	incomparable         string  // why nothing could be compared; empty normally. base is nil then
}

// cell is where a cell lies in its table.
type cell struct{ slice, row, col int }

// cellOf is the cell of an index into what is decoded.
func cellOf(d *surface.Decoded, i int) cell {
	return cell{i / d.NX / d.NY, i / d.NX % d.NY, i % d.NX}
}

// compare finds the cells that differ, and the surfaces where breakpoints moved.
func (c *change) compare() {
	if c.cand.Table.Kind == textKind {
		if c.base.Text != c.cand.Text {
			c.cells = []uint32{0}
		}
		return
	}
	if c.one && c.sameShape() {
		c.cells = c.of.unequal(c.base.Bits, c.cand.Bits)
		c.joints = jointsOf(c)
		return
	}
	c.were = []uint32{}
	for _, slice := range c.slicePairs() {
		for _, row := range c.pairs(1) {
			for _, col := range c.pairs(0) {
				was, is := (slice[0]*c.base.NY+row[0])*c.base.NX+col[0], (slice[1]*c.cand.NY+row[1])*c.cand.NX+col[1]
				if c.differs(was, is) {
					c.were, c.cells = append(c.were, uint32(was)), append(c.cells, uint32(is))
				}
			}
		}
	}
	c.joints = jointsOf(c)
}

// sameShape says that a cell of the base belongs to the candidate's of the same index.
func (c *change) sameShape() bool {
	for i := range c.axes {
		if c.axes[i].pairs != nil {
			return false
		}
	}
	return true
}

// pairs are the indices along an axis that belong together, the base's and the candidate's.
func (c *change) pairs(axis int) [][2]int {
	if axis >= len(c.axes) {
		return [][2]int{{}}
	}
	return c.axes[axis].both()
}

// moved says that breakpoints of any axis differ.
func (c *change) moved() bool {
	for i := range c.axes {
		if c.axes[i].moved {
			return true
		}
	}
	return false
}

// unchanged says that neither a cell nor a breakpoint differs.
func (c *change) unchanged() bool { return len(c.cells) == 0 && !c.moved() }

// numeric says that both sides are known and hold numbers.
func (c *change) numeric() bool {
	return c.base != nil && c.cand != nil && c.base.Values != nil && c.cand.Values != nil
}

// index is where the k-th changed cell stands in what is decoded.
func (c *change) index(k int) (base, cand int) {
	if c.were != nil {
		return int(c.were[k]), int(c.cells[k])
	}
	return int(c.cells[k]), int(c.cells[k])
}

func (c *change) bits(k int) (base, cand uint64) {
	b, v := c.index(k)
	return c.base.Bits[b], c.cand.Bits[v]
}

func (c *change) values(k int) (base, cand float64) {
	b, v := c.index(k)
	return c.base.Values[b], c.cand.Values[v]
}

// off says on which sides the k-th changed cell holds a code that is no value.
func (c *change) off(k int) (base, cand bool) {
	b, v := c.index(k)
	return isOff(c.base, b), isOff(c.cand, v)
}

func isOff(d *surface.Decoded, i int) bool { return d.Off != nil && d.Off[i] }

// hasDelta says that the k-th changed cell holds values on both sides.
func (c *change) hasDelta(k int) bool {
	base, cand := c.off(k)
	return c.numeric() && !base && !cand
}

// delta is candidate minus base of the k-th changed cell, physical; exact where both sides are one definition's.
func (c *change) delta(k int) float64 {
	if c.one {
		return c.candTable.Cells.Delta(c.bits(k))
	}
	b, v := c.values(k)
	return v - b
}

// deltas is what differs between numbers: on the joined surface where breakpoints moved, else cell by cell. There are not any
// of labels and texts, or where a code that is no value has a part in all that differs.
func (c *change) deltas() (d deltas, any bool) {
	switch {
	case !c.numeric():
		return d, false
	case len(c.joints) > 0:
		for _, j := range c.joints {
			j.each(func(p spot) {
				if !p.off() && !near(p.base, p.cand, rounding(c.candTable.Cells, p.base, p.cand)) {
					d.add(p.cand - p.base)
				}
			})
		}
	case c.whole():
		d.ofWhole(c)
	default:
		for k := range c.cells {
			if c.hasDelta(k) {
				d.add(c.delta(k))
			}
		}
	}
	return d, d.n > 0 || c.base.Off == nil && c.cand.Off == nil
}

// whole says that every delta is a difference of whole numbers of 63 bits times a factor.
func (c *change) whole() bool {
	is := c.candTable.Cells
	return c.one && !is.Float && is.Conv.Affine() && !is.Magnitude && is.Width < 64 && c.were == nil && c.base.Off == nil && c.cand.Off == nil
}

// deltas sums up differences in the order they come.
type deltas struct {
	n                      int
	min, max, sum, squares float64
}

func (d *deltas) add(v float64) {
	if d.n == 0 {
		d.min, d.max = v, v
	}
	d.min, d.max = min(d.min, v), max(d.max, v)
	d.sum += v
	d.squares += float64(v * v)
	d.n++
}

// ofWhole adds all deltas of a change that is whole; none of them is 0 or no number.
func (d *deltas) ofWhole(c *change) {
	up, factor := uint(0), c.candTable.Cells.Conv.Factor
	if c.candTable.Cells.Signed {
		up = 64 - c.candTable.Cells.Width
	}
	was, is := c.base.Bits, c.cand.Bits[:len(c.base.Bits)]
	if len(c.cells) == 0 {
		return
	}
	least, most, sum, squares := math.Inf(1), math.Inf(-1), 0.0, 0.0
	for _, i := range c.cells {
		v := float64(int64(is[i]<<up)>>up-int64(was[i]<<up)>>up) * factor
		if v < least {
			least = v
		}
		if v > most {
			most = v
		}
		sum += v
		squares += float64(v * v)
	}
	*d = deltas{len(c.cells), least, most, sum, squares}
}

// summary is all zero where nothing differs.
func (d deltas) summary(out *calibrationv1.Delta) *calibrationv1.Delta {
	if d.n > 0 {
		n := float64(d.n)
		out.Min, out.Max, out.Mean, out.Rms = d.min, d.max, d.sum/n, math.Sqrt(d.squares/n)
	}
	return out
}
