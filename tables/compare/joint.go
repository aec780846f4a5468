package compare

import (
	"math"

	"google.golang.org/protobuf/types/known/structpb"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/bounded"
	"witnessmark/tables/definition"
	"witnessmark/tables/surface"
)

// joint is a table of both images as surfaces on the joined breakpoints of both.
type joint struct {
	x, y       []float64
	base, cand *surface.Grid
}

// jointOf is nil where no breakpoint moved, or where either side cannot be interpolated: labels,
// breakpoints that neither rise nor fall, or an index axis whose points differ.
func jointOf(c *change) *joint {
	if !c.xMoved && !c.yMoved {
		return nil
	}
	for _, axis := range []struct {
		moved bool
		a, b  *definition.Axis
	}{{c.xMoved, c.baseTable.X, c.candTable.X}, {c.yMoved, c.baseTable.Y, c.candTable.Y}} {
		if axis.moved && (axis.a.Index || axis.b.Index) {
			return nil
		}
	}
	base, err := c.base.Grid()
	if err != nil {
		return nil
	}
	cand, err := c.cand.Grid()
	if err != nil {
		return nil
	}
	return &joint{surface.Join(base.X, cand.X), surface.Join(base.Y, cand.Y), base, cand}
}

// each calls f for every joined point, y outer and x inner, with both surfaces there: once, or once
// for each side of a step that either has there. at says that it is the value at the point itself.
func (j *joint) each(f func(x, y, base, cand float64, at bool)) {
	for _, y := range j.y {
		for _, x := range j.x {
			bx, by := j.base.Steps(x, y)
			cx, cy := j.cand.Steps(x, y)
			for _, belowY := range either(by || cy) {
				for _, belowX := range either(bx || cx) {
					f(x, y, j.base.Side(x, y, belowX, belowY), j.cand.Side(x, y, belowX, belowY), !belowX && !belowY)
				}
			}
		}
	}
}

func either(step bool) []bool {
	if step {
		return []bool{true, false}
	}
	return []bool{false}
}

// report writes the surface, and whether it is the same but for rounding.
func (j *joint) report(c *change) {
	out := &calibrationv1.Surface{}
	if c.candTable.X != nil {
		out.X = j.x
	}
	if c.candTable.Y != nil {
		out.Y = j.y
	}
	var base, cand []*structpb.Value
	j.each(func(_, _, b, v float64, at bool) {
		if at {
			base, cand = append(base, number(b)), append(cand, number(v))
		}
	})
	for at := 0; at < len(base); at += len(j.x) {
		out.Base = append(out.Base, &structpb.ListValue{Values: base[at : at+len(j.x)]})
		out.Candidate = append(out.Candidate, &structpb.ListValue{Values: cand[at : at+len(j.x)]})
	}
	c.report.Surface, c.report.Regridded = out, j.regridded(c)
}

// regridded says whether the surfaces differ by at most half a raw step everywhere. Of one conversion the
// raw surfaces are compared, which do not curve between breakpoints.
func (j *joint) regridded(c *change) bool {
	a, b := c.baseTable.Cells, c.candTable.Cells
	all := true
	switch {
	case a.Conv.Rational && a == b:
		raw := &joint{j.x, j.y, j.base.Raw(), j.cand.Raw()}
		raw.each(func(_, _, p, q float64, _ bool) {
			all = all && rawAlike(a, p, q)
		})
	case c.curved():
		for _, up := range []bool{true, false} {
			r, err := c.beyond(up)
			all = all && err == nil && r.Found[bounded.Introduced].Cells+r.Undecided == 0
		}
	default:
		j.each(func(_, _, p, q float64, _ bool) { all = all && near(p, q, halfStep(a, b, p, q)) })
	}
	return all
}

// halfStep is half the coarser raw step of two blocks of cells, and a little for rounding. A float has
// no step of its own, and a rational none that is the same everywhere: there rounding alone counts.
func halfStep(a, b *definition.Cells, p, q float64) float64 {
	return float64(max(wholeStep(a), wholeStep(b))/2) + max(rounding(a, p, q), rounding(b, p, q))
}

// rounding is how far two values may lie apart and still be the same number.
func rounding(c *definition.Cells, p, q float64) float64 {
	return float64(c.Relative() * max(math.Abs(p), math.Abs(q), c.Conv.Step()))
}

// near says whether two values differ by at most the tolerance. NaN is close to NaN alone, an
// infinity to itself.
func near(a, b, tolerance float64) bool {
	if same(a, b) {
		return true
	}
	return !math.IsInf(tolerance, 0) && math.Abs(a-b) <= tolerance
}
