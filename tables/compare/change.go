package compare

import (
	"math"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/definition"
	"witnessmark/tables/surface"
)

// change is one table that differs between two images.
type change struct {
	id                   string
	baseTable, candTable *definition.Table
	one                  bool             // both sides are of one definition
	base, cand           *surface.Decoded // cand is nil where it is not known
	axes                 []along          // x, y, and those beyond
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

// between is what a table became under one definition, from the image was to the image is: what differs in raw bits.
func between(base, cand *surface.Decoded, was, is []byte) *change {
	c := &change{id: cand.Table.ID, baseTable: base.Table, candTable: cand.Table, one: true, base: base, cand: cand}
	for k := range cand.Table.Axes {
		c.axes = append(c.axes, alongOne(base, cand, was, is, k))
	}
	c.compare()
	return c
}

// aligned is between for two definitions, base in the candidate's units: breakpoints pair as sequences
// where their count differs, and cells differ by more than half the coarser raw step.
func aligned(base, cand *surface.Decoded) *change {
	c := &change{id: cand.Table.ID, baseTable: base.Table, candTable: cand.Table, base: base, cand: cand}
	for k := range cand.Table.Axes {
		c.axes = append(c.axes, alongTwo(base, cand, k))
	}
	c.compare()
	return c
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
		c.cells = unequal[uint32](c.base.Bits, c.cand.Bits)
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
	if !c.numeric() {
		return d, false
	}
	for k := range c.cells {
		if len(c.joints) == 0 && c.hasDelta(k) {
			d.add(c.delta(k))
		}
	}
	for _, j := range c.joints {
		j.each(func(p spot) {
			if !p.off() && !near(p.base, p.cand, rounding(c.candTable.Cells, p.base, p.cand)) {
				d.add(p.cand - p.base)
			}
		})
	}
	return d, d.n > 0 || c.base.Off == nil && c.cand.Off == nil
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
	d.min, d.max = math.Min(d.min, v), math.Max(d.max, v)
	d.sum += v
	d.squares += float64(v * v)
	d.n++
}

// summary is all zero where nothing differs.
func (d deltas) summary() *calibrationv1.Delta {
	if d.n == 0 {
		return &calibrationv1.Delta{}
	}
	n := float64(d.n)
	return &calibrationv1.Delta{Min: d.min, Max: d.max, Mean: d.sum / n, Rms: math.Sqrt(d.squares / n)}
}
