package compare

import (
	"math"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/structpb"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/definition"
	"witnessmark/tables/surface"
)

// addChange reports a table whose cells, or whose axes' breakpoints, differ under one definition.
func (s *session) addChange(t *definition.Table, xMoved, yMoved bool) {
	c := &change{id: t.ID, baseTable: t, candTable: t, xMoved: xMoved, yMoved: yMoved, base: s.baseOf(t.ID), cand: s.candOf(t.ID)}
	for i, b := range c.cand.Bits {
		if b != c.base.Bits[i] {
			row, col := i/c.cand.NX, i%c.cand.NX
			c.cells = append(c.cells, cell{row, col, row, col})
		}
	}
	if xMoved {
		c.movedXPoints = s.movedPoints(t.X)
	}
	if yMoved {
		c.movedYPts = s.movedPoints(t.Y)
	}
	s.keep(c)
}

// movedPoints is the breakpoints whose raw bits differ, by index.
func (s *session) movedPoints(a *definition.Axis) []int {
	var out []int
	for i := range a.Count {
		if a.Cells.Bits(s.in.Base.Bytes, 0, i) != a.Cells.Bits(s.in.Candidate.Bytes, 0, i) {
			out = append(out, i)
		}
	}
	return out
}

// keep writes a change's part of the report.
func (s *session) keep(c *change) {
	t := c.candTable
	c.report = &calibrationv1.TableReport{
		Id: c.id, Kind: t.Kind, Unit: t.Unit, Cells: uint32(c.cand.NX * c.cand.NY), Changed: uint32(len(c.cells)),
		AxesChanged: c.xMoved || c.yMoved,
	}
	s.changes = append(s.changes, c)
	s.byID[c.id] = c
	if c.incomparable != "" {
		return
	}
	if c.report.AxesChanged {
		c.joint = jointOf(c)
	}
	for _, at := range c.cells {
		c.report.Changes = append(c.report.Changes, c.cellChange(at))
	}
	switch {
	case c.cand.Values == nil || c.base.Values == nil:
	case c.joint != nil:
		c.joint.report(c)
	default:
		var d deltas
		for _, at := range c.cells {
			d.add(c.delta(at))
		}
		c.report.Delta = d.summary()
	}
}

func (c *change) bits(at cell) (base, cand uint64) {
	return c.base.Bits[at.baseRow*c.base.NX+at.baseCol], c.cand.Bits[at.row*c.cand.NX+at.col]
}

// delta is candidate minus base of a cell, physical; exact where both sides are one definition's.
func (c *change) delta(at cell) float64 {
	b, v := c.bits(at)
	if c.baseTable == c.candTable {
		return c.candTable.Cells.Delta(b, v)
	}
	return c.cand.Values[at.row*c.cand.NX+at.col] - c.base.Values[at.baseRow*c.base.NX+at.baseCol]
}

func (c *change) cellChange(at cell) *calibrationv1.CellChange {
	b, v := c.bits(at)
	out := &calibrationv1.CellChange{
		Row: uint32(at.row), Column: uint32(at.col),
		Base: printed(c.baseTable.Cells, b), Candidate: printed(c.candTable.Cells, v),
	}
	if raw := c.baseTable.Cells.Raw(b); raw != "" {
		out.BaseRaw = proto.String(raw)
	}
	if raw := c.candTable.Cells.Raw(v); raw != "" {
		out.CandidateRaw = proto.String(raw)
	}
	if c.cand.X != nil && c.base.X != nil {
		out.X, out.BaseX = c.breakpoint(c.baseTable.X, c.candTable.X, c.base.X[at.baseCol], c.cand.X[at.col])
	}
	if c.cand.Y != nil && c.base.Y != nil {
		out.Y, out.BaseY = c.breakpoint(c.baseTable.Y, c.candTable.Y, c.base.Y[at.baseRow], c.cand.Y[at.row])
	}
	if out.BaseX == nil && out.BaseY == nil && c.base.Values != nil && c.cand.Values != nil {
		out.Delta = proto.Float64(c.delta(at))
	}
	return out
}

// breakpoint is the candidate's, and the base's too where it is another one. Of two definitions
// those that are alike to their raw steps are one.
func (c *change) breakpoint(a, b *definition.Axis, base, cand float64) (now, before *float64) {
	now = proto.Float64(cand)
	if same(base, cand) || c.baseTable != c.candTable && pointsAlike(a, b, base, cand) {
		return now, nil
	}
	return now, proto.Float64(base)
}

// same is equality by which NaN is NaN.
func same(a, b float64) bool { return a == b || math.IsNaN(a) && math.IsNaN(b) }

// printed is a raw value as a number, or as its label.
func printed(c *definition.Cells, bits uint64) *structpb.Value {
	if c.Conv.Labels != nil {
		return structpb.NewStringValue(c.Conv.Label(c.Int(bits)))
	}
	return number(c.Conv.Apply(c.Number(bits)))
}

// number is a float in a message that JSON has to hold: what is not finite is written as
// protobuf's JSON writes it, since a Value cannot hold it as a number.
func number(v float64) *structpb.Value {
	switch {
	case math.IsNaN(v):
		return structpb.NewStringValue("NaN")
	case math.IsInf(v, 1):
		return structpb.NewStringValue("Infinity")
	case math.IsInf(v, -1):
		return structpb.NewStringValue("-Infinity")
	}
	return structpb.NewNumberValue(v)
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
func (d *deltas) summary() *calibrationv1.Delta {
	if d.n == 0 {
		return &calibrationv1.Delta{}
	}
	n := float64(d.n)
	return &calibrationv1.Delta{Min: d.min, Max: d.max, Mean: d.sum / n, Rms: math.Sqrt(d.squares / n)}
}

// at is a cell's operating point as text, for the details of findings.
func at(d *surface.Decoded, row, col int) string {
	switch {
	case d.Y != nil:
		return "x " + short(d.X[col]) + ", y " + short(d.Y[row])
	case d.X != nil:
		return "x " + short(d.X[col])
	}
	return "its one cell"
}
