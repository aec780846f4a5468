package compare

import (
	"math"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/structpb"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/definition"
	"witnessmark/tables/surface"
)

// keep writes a change's part of the report.
func (s *session) keep(c *change) {
	s.changes = append(s.changes, c)
	s.byID[c.id] = c
	if c.cand == nil {
		return
	}
	t := c.candTable
	c.report = &calibrationv1.TableReport{
		Id: c.id, Kind: t.Kind, Unit: t.Unit, Cells: uint32(c.cand.NX * c.cand.NY), Changed: uint32(len(c.cells)),
		AxesChanged: c.xMoved || c.yMoved,
	}
	if c.incomparable != "" {
		return
	}
	for _, at := range c.cells {
		c.report.Changes = append(c.report.Changes, c.cellChange(at))
	}
	if c.joint != nil {
		c.joint.report(c)
	}
	if c.numeric() {
		c.report.Delta = c.deltas().summary()
	}
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

// text is printed as words.
func text(c *definition.Cells, bits uint64) string {
	if c.Conv.Labels != nil {
		return c.Conv.Label(c.Int(bits))
	}
	return short(c.Conv.Apply(c.Number(bits)))
}

// point is an operating point of a surface as text.
func (c *change) point(x, y float64) string {
	if c.candTable.Y == nil {
		return "x " + short(x)
	}
	return "x " + short(x) + ", y " + short(y)
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
