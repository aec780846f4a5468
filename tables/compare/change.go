package compare

import (
	"math"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/definition"
	"witnessmark/tables/surface"
)

// change is one table that differs between two images.
type change struct {
	id                      string
	baseTable, candTable    *definition.Table
	xMoved, yMoved          bool             // stored or aligned breakpoints differ
	base, cand              *surface.Decoded // cand is nil where bytes of it are unknown
	cells                   []cell           // changed ones, row by row
	joint                   *joint           // nil where breakpoints stand, or cannot be interpolated
	report                  *calibrationv1.TableReport
	found                   *change // from the image as found to the candidate; nil where there is none
	incomparable            string  // why nothing could be compared; empty normally. base is nil then
	movedXPoints, movedYPts []int   // candidate indices of breakpoints that changed
}

// cell is a changed cell: its index in the candidate and in the base.
type cell struct{ row, col, baseRow, baseCol int }

// between is what a table became under one definition: what differs in raw bits.
func between(base, cand *surface.Decoded) *change {
	c := &change{id: cand.Table.ID, baseTable: base.Table, candTable: cand.Table, base: base, cand: cand,
		movedXPoints: unequal(base.XBits, cand.XBits), movedYPts: unequal(base.YBits, cand.YBits)}
	for _, i := range unequal(base.Bits, cand.Bits) {
		row, col := i/cand.NX, i%cand.NX
		c.cells = append(c.cells, cell{row, col, row, col})
	}
	c.xMoved, c.yMoved = len(c.movedXPoints) > 0, len(c.movedYPts) > 0
	c.joint = jointOf(c)
	return c
}

// unequal is where two lists of one length differ.
func unequal(a, b []uint64) (at []int) {
	for i := range a {
		if a[i] != b[i] {
			at = append(at, i)
		}
	}
	return at
}

// aligned is between for two definitions, base in the candidate's units: breakpoints pair as sequences
// where their count differs, and cells differ by more than half the coarser raw step.
func aligned(id string, base, cand *surface.Decoded) (c *change, onlyX, onlyY []*calibrationv1.AlignedIndex) {
	b, t := base.Table, cand.Table
	c = &change{id: id, baseTable: b, candTable: t, base: base, cand: cand}
	cols, onlyX := align(b.X, t.X, base.X, cand.X, base.NX)
	rows, onlyY := align(b.Y, t.Y, base.Y, cand.Y, base.NY)
	c.xMoved, c.movedXPoints = moved(b.X, t.X, base.X, cand.X)
	c.yMoved, c.movedYPts = moved(b.Y, t.Y, base.Y, cand.Y)
	for _, row := range rows {
		for _, col := range cols {
			at := cell{row: row[1], col: col[1], baseRow: row[0], baseCol: col[0]}
			if c.differs(at) {
				c.cells = append(c.cells, at)
			}
		}
	}
	c.joint = jointOf(c)
	return c, onlyX, onlyY
}

// unchanged says that neither a cell nor a breakpoint differs.
func (c *change) unchanged() bool { return len(c.cells) == 0 && !c.xMoved && !c.yMoved }

// numeric says that both sides are known and hold numbers.
func (c *change) numeric() bool {
	return c.base != nil && c.cand != nil && c.base.Values != nil && c.cand.Values != nil
}

func (c *change) bits(at cell) (base, cand uint64) {
	return c.base.Bits[at.baseRow*c.base.NX+at.baseCol], c.cand.Bits[at.row*c.cand.NX+at.col]
}

func (c *change) values(at cell) (base, cand float64) {
	return c.base.Values[at.baseRow*c.base.NX+at.baseCol], c.cand.Values[at.row*c.cand.NX+at.col]
}

// delta is candidate minus base of a cell, physical; exact where both sides are one definition's.
func (c *change) delta(at cell) float64 {
	if c.baseTable == c.candTable {
		return c.candTable.Cells.Delta(c.bits(at))
	}
	b, v := c.values(at)
	return v - b
}

// deltas is what differs between numbers: on the joined surface where breakpoints moved, else cell by cell.
func (c *change) deltas() (d deltas) {
	if c.joint == nil {
		for _, at := range c.cells {
			d.add(c.delta(at))
		}
		return d
	}
	c.joint.each(func(_, _, b, v float64, _ bool) {
		if !near(b, v, rounding(c.candTable.Cells, b, v)) {
			d.add(v - b)
		}
	})
	return d
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
