package compare

import (
	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/definition"
	"witnessmark/tables/surface"
)

// change is one table that differs between two images.
type change struct {
	of                   *pairing // nil where nothing could be compared
	id                   string
	baseTable, candTable *definition.Table
	one                  bool    // both sides are of one definition
	was, is              reading // is of nothing where the candidate is not known
	axes                 []*along
	cells                []uint32 // changed ones, by index into what is decoded of the candidate, ascending
	were                 []uint32 // their indices in the base; nil where they are the same
	columns              *calibrationv1.ChangedCells
	byCell               deltas
	joints               []*joint // none where breakpoints stand, or cannot be interpolated
	report               *calibrationv1.TableReport
	found                *change // from the image as found to the candidate; nil where there is none
	incomparable         string  // why nothing could be compared; empty normally. was is of nothing then
}

// base and cand are both sides decoded; nil where one is not known.
func (c *change) base() *surface.Decoded { return c.was.decoded() }
func (c *change) cand() *surface.Decoded { return c.is.decoded() }

// known says that the candidate is, and comparable that both sides are.
func (c *change) known() bool      { return c.is.t != nil }
func (c *change) comparable() bool { return c.was.t != nil && c.is.t != nil }

// cell is where a cell lies in its table.
type cell struct{ slice, row, col int }

// cellOf is the cell of an index into what is decoded.
func cellOf(d *surface.Decoded, i int) cell {
	return cell{i / d.NX / d.NY, i / d.NX % d.NY, i % d.NX}
}

// compare finds the cells that differ, and the surfaces where breakpoints moved.
func (c *change) compare() {
	p := c.of
	if c.candTable.Kind == textKind {
		if was, is := c.base().Text, c.cand().Text; was != is {
			c.cells = p.upTo(1)
			c.columns = &calibrationv1.ChangedCells{Words: []string{was, is}, BaseWord: []uint32{0}, CandidateWord: []uint32{1}}
		}
		return
	}
	was, is := c.was.bits(&p.bits[0]), c.is.bits(&p.bits[1])
	if c.one && c.sameShape() {
		c.cells = p.unequal(was, is)
	} else {
		c.pairCells()
	}
	if len(c.cells) > 0 {
		c.tell(was, is)
	}
	c.joints = jointsOf(c)
}

// pairCells finds the cells that differ where breakpoints pair in another way than by index, or by how much cells differ.
func (c *change) pairCells() {
	c.were = []uint32{}
	base, cand := c.base(), c.cand()
	for _, slice := range c.slicePairs() {
		for _, row := range c.pairs(1) {
			for _, col := range c.pairs(0) {
				was, is := (slice[0]*base.NY+row[0])*base.NX+col[0], (slice[1]*cand.NY+row[1])*cand.NX+col[1]
				if c.differs(was, is) {
					c.were, c.cells = append(c.were, uint32(was)), append(c.cells, uint32(is))
				}
			}
		}
	}
}

// sameShape says that a cell of the base belongs to the candidate's of the same index.
func (c *change) sameShape() bool {
	for _, a := range c.axes {
		if a.pairs != nil {
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
	for _, a := range c.axes {
		if a.moved {
			return true
		}
	}
	return false
}

// unchanged says that neither a cell nor a breakpoint differs.
func (c *change) unchanged() bool { return len(c.cells) == 0 && !c.moved() }

// numeric says that both sides are known and hold numbers.
func (c *change) numeric() bool { return c.comparable() && numeric(c.was.t) && numeric(c.is.t) }

// codes says that a cell of either side may hold a code that is no value.
func (c *change) codes() bool { return len(c.was.t.Cells.NotAValue)+len(c.is.t.Cells.NotAValue) > 0 }

// index is where the k-th changed cell stands in what is decoded.
func (c *change) index(k int) (base, cand int) {
	if c.were != nil {
		return int(c.were[k]), int(c.cells[k])
	}
	return int(c.cells[k]), int(c.cells[k])
}

func (c *change) bits(k int) (base, cand uint64) {
	b, v := c.index(k)
	return c.base().Bits[b], c.cand().Bits[v]
}

func (c *change) values(k int) (base, cand float64) {
	b, v := c.index(k)
	return c.base().Values[b], c.cand().Values[v]
}

// off says on which sides the k-th changed cell holds a code that is no value.
func (c *change) off(k int) (base, cand bool) {
	b, v := c.index(k)
	return isOff(c.base(), b), isOff(c.cand(), v)
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
