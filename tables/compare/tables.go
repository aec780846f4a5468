package compare

import (
	"cmp"
	"fmt"
	"math"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/structpb"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/definition"
	"witnessmark/tables/said"
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
		Id: c.id, Kind: t.Kind, Unit: t.Unit, Cells: uint32(cellsOf(c.cand)), Changed: uint32(len(c.cells)), AxesChanged: c.moved(),
	}
	if c.incomparable != "" {
		return
	}
	for _, at := range c.cells {
		c.report.Changes = append(c.report.Changes, c.cellChange(at))
	}
	for _, j := range c.joints {
		switch {
		case j.slice == nil:
			c.report.Surface = j.report(t)
		case !j.below:
			c.report.Surfaces = append(c.report.Surfaces, j.report(t))
		}
	}
	c.report.Regridded = c.regridded()
	s.alignment(c)
	if d, any := c.deltas(); any {
		c.report.Delta = d.summary()
	}
}

// alignment lists what only one side has: breakpoints, and of a block slices.
func (s *session) alignment(c *change) {
	var out calibrationv1.Alignment
	for k := range c.axes {
		a := &c.axes[k]
		switch {
		case len(a.only) == 0:
		case k == 0:
			out.X = a.only
		case k == 1:
			out.Y = a.only
		default:
			for _, o := range a.only {
				s.alone(c.id, fmt.Sprintf("only the %s has it at %s %s", o.Side, a.name, a.pointOf(o)))
			}
		}
	}
	if len(out.X)+len(out.Y) > 0 {
		c.report.Alignment = &out
	}
}

// cellsOf counts cells; a text is one.
func cellsOf(d *surface.Decoded) int {
	if d.Table.Kind == textKind {
		return 1
	}
	return len(d.Bits)
}

// textKind is a table of one cell whose value is a text.
const textKind = "text"

func (c *change) cellChange(at cell) *calibrationv1.CellChange {
	if c.candTable.Kind == textKind {
		return &calibrationv1.CellChange{Base: structpb.NewStringValue(c.base.Text), Candidate: structpb.NewStringValue(c.cand.Text)}
	}
	was, is := c.index(at)
	b, v := c.bits(at)
	out := &calibrationv1.CellChange{
		Row: uint32(at.row), Column: uint32(at.col),
		Base: said.Cell(c.base, was), Candidate: said.Cell(c.cand, is),
	}
	if raw := c.baseTable.Cells.Raw(b); raw != "" {
		out.BaseRaw = proto.String(raw)
	}
	if raw := c.candTable.Cells.Raw(v); raw != "" {
		out.CandidateRaw = proto.String(raw)
	}
	if len(c.axes) > 0 {
		out.X, out.BaseX, out.XLabel = c.breakpoint(&c.axes[0], at.baseCol, at.col)
	}
	if len(c.axes) > 1 {
		out.Y, out.BaseY, out.YLabel = c.breakpoint(&c.axes[1], at.baseRow, at.row)
	}
	if c.cand.Slices != nil {
		out.Slice = said.Slice(c.cand.Slices[at.slice].Table.Slice)
	}
	if c.hasDelta(at) && out.BaseX == nil && out.BaseY == nil && c.samePlace(at) {
		out.Delta = proto.Float64(c.delta(at))
	}
	return out
}

// breakpoint is the candidate's, and the base's too where it is another one, or its label. Of two definitions
// those that are alike to their raw steps are one.
func (c *change) breakpoint(a *along, was, is int) (now, before *float64, label *string) {
	if a.cand.Labels != nil {
		return nil, nil, proto.String(a.cand.Labels[is])
	}
	now = proto.Float64(a.is[is])
	if same(a.was[was], a.is[is]) || !c.one && a.alike(was, is) {
		return now, nil, nil
	}
	return now, proto.Float64(a.was[was]), nil
}

// samePlace says that a cell lies in the same slice on both sides.
func (c *change) samePlace(at cell) bool {
	was, is := at.baseSlice, at.slice
	for k := 2; k < len(c.axes); k++ {
		a := &c.axes[k]
		i, j := was%len(a.was), is%len(a.is)
		if !same(a.was[i], a.is[j]) && (c.one || !a.alike(i, j)) {
			return false
		}
		was, is = was/len(a.was), is/len(a.is)
	}
	return true
}

// same is equality by which NaN is NaN.
func same(a, b float64) bool { return a == b || math.IsNaN(a) && math.IsNaN(b) }

// text is a raw value in words.
func text(c *definition.Cells, bits uint64) string {
	switch {
	case c.Off(bits):
		return "off (raw " + c.Raw(bits) + ")"
	case c.Conv.Labels != nil:
		return c.Conv.Label(c.Int(bits))
	}
	return short(c.Conv.Apply(c.Number(bits)))
}

// at is a cell's operating point as text, for the details of findings.
func at(d *surface.Decoded, c cell) string {
	if len(d.Table.Axes) == 0 {
		return "its one cell"
	}
	text := "x " + pointText(d.Table.X, d.X[c.col])
	if d.Y != nil {
		text += ", y " + pointText(d.Table.Y, d.Y[c.row])
	}
	if d.Slices != nil {
		text += textOfSlice(d.Slices[c.slice].Table.Slice)
	}
	return text
}

// point is a place along an axis as the report says it: a breakpoint, or its label.
func point(a *definition.Axis, v float64) (*float64, *string) {
	if a.Labels != nil {
		return nil, proto.String(a.Labels[int(v)])
	}
	return proto.Float64(v), nil
}

func pointText(a *definition.Axis, v float64) string {
	if a.Labels != nil {
		return a.Labels[int(v)]
	}
	return short(v)
}

// unitOf is the unit that a text says after a number.
func unitOf(t *definition.Table) string { return cmp.Or(t.Unit, t.UnitText) }

// placeOf is a cell's place as the report says it.
func placeOf(d *surface.Decoded, c cell) *calibrationv1.Worst {
	w := &calibrationv1.Worst{Row: proto.Uint32(uint32(c.row)), Column: proto.Uint32(uint32(c.col))}
	if d.X != nil {
		w.X, w.XLabel = point(d.Table.X, d.X[c.col])
	}
	if d.Y != nil {
		w.Y, w.YLabel = point(d.Table.Y, d.Y[c.row])
	}
	if d.Slices != nil {
		w.Slice = said.Slice(d.Slices[c.slice].Table.Slice)
	}
	return w
}

// wholeOf is all cells of a table and all of its stored breakpoints, as of one that nothing is compared with.
func wholeOf(d *surface.Decoded) (cells []cell, axes []along) {
	cells = make([]cell, cellsOf(d))
	for i := range cells {
		cells[i] = cellOf(d, i)
	}
	for k, a := range d.Table.Axes {
		one := along{name: axisName(d.Table, k), cand: a, is: pointsOf(d, k)}
		for i := range a.Count {
			if a.Cells != nil {
				one.points = append(one.points, i)
			}
		}
		axes = append(axes, one)
	}
	return cells, axes
}
