package compare

import (
	"cmp"
	"fmt"
	"math"

	"google.golang.org/protobuf/proto"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/definition"
	"witnessmark/tables/said"
	"witnessmark/tables/surface"
)

// keep writes a change's part of the report.
func (s *session) keep(c *change) {
	s.changes = append(s.changes, c)
	s.byID[c.id] = c
	if !c.known() {
		return
	}
	t := c.candTable
	c.report = s.reports.One()
	c.report.Id, c.report.Kind, c.report.Unit = c.id, t.Kind, t.Unit
	c.report.Cells, c.report.Changed, c.report.AxesChanged = uint32(cellsOf(c.is.t)), uint32(len(c.cells)), c.moved()
	if c.incomparable != "" {
		return
	}
	c.report.ChangedCells = c.columns
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
		c.report.Delta = d.summary(s.deltas.One())
	}
}

// alignment lists what only one side has: breakpoints, and of a block slices.
func (s *session) alignment(c *change) {
	var out calibrationv1.Alignment
	for k := range c.axes {
		a := c.axes[k]
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

// textKind is a table of one cell whose value is a text.
const textKind = "text"

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

// at is the operating point of a cell as text, for the details of findings.
func at(d *surface.Decoded, i int) string {
	if len(d.Table.Axes) == 0 {
		return "its one cell"
	}
	c := cellOf(d, i)
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

// placeOf is the place of a cell as the report says it.
func placeOf(d *surface.Decoded, i int) *calibrationv1.Worst {
	c := cellOf(d, i)
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
func (p *pairing) wholeOf(r *reading) (cells []uint32, axes []*along) {
	for k, a := range r.t.Axes {
		one := &along{name: axisName(r.t, k), cand: a}
		one.is, _ = r.points(k)
		for i := range a.Count {
			if a.Cells != nil {
				one.points = append(one.points, i)
			}
		}
		axes = append(axes, one)
	}
	return p.upTo(cellsOf(r.t)), axes
}
