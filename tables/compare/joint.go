package compare

import (
	"math"

	"google.golang.org/protobuf/types/known/structpb"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/definition"
	"witnessmark/tables/said"
	"witnessmark/tables/surface"
)

// joint is a table, or a slice of a block, of both images as surfaces on the joined breakpoints of both.
type joint struct {
	x, y             []float64
	base, cand       *surface.Grid
	baseOff, candOff *surface.Grid // NaN where a code that is no value has a say; nil where none is there
	// Of a block: where the slice lies. Where breakpoints beyond y moved it lies in between, and steps there have two sides.
	slice *calibrationv1.Slice
	where string // as text, with a comma before it
	below bool   // it is the side below a step, which no report shows
	// What is interpolated raw is judged by its tables; nil where the slice lies in between.
	was, is *surface.Decoded
}

// spot is one joined point with both surfaces there.
type spot struct {
	x, y, base, cand float64
	baseOff, candOff bool
	at               bool // it is the value at the point itself, not below a step
}

// off says that there is no difference, since a code that is no value has a say.
func (p *spot) off() bool { return p.baseOff || p.candOff }

// each calls f for every joined point, y outer and x inner, with both surfaces there: once, or once
// for each side of a step that either has there.
func (j *joint) each(f func(p spot)) {
	for _, y := range j.y {
		for _, x := range j.x {
			bx, by := j.base.Steps(x, y)
			cx, cy := j.cand.Steps(x, y)
			for _, belowY := range either(by || cy) {
				for _, belowX := range either(bx || cx) {
					off := func(g *surface.Grid) bool { return g != nil && math.IsNaN(g.Side(x, y, belowX, belowY)) }
					f(spot{x, y, j.base.Side(x, y, belowX, belowY), j.cand.Side(x, y, belowX, belowY),
						off(j.baseOff), off(j.candOff), !belowX && !belowY && !j.below})
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

// report is the surface as the report has it.
func (j *joint) report(t *definition.Table) *calibrationv1.Surface {
	out := &calibrationv1.Surface{Slice: j.slice}
	if t.X != nil {
		out.X = j.x
	}
	if t.Y != nil {
		out.Y = j.y
	}
	var base, cand []*structpb.Value
	j.each(func(p spot) {
		if p.at {
			base, cand = append(base, said.NumberOr(p.base, p.baseOff)), append(cand, said.NumberOr(p.cand, p.candOff))
		}
	})
	for at := 0; at < len(base); at += len(j.x) {
		out.Base = append(out.Base, &structpb.ListValue{Values: base[at : at+len(j.x)]})
		out.Candidate = append(out.Candidate, &structpb.ListValue{Values: cand[at : at+len(j.x)]})
	}
	return out
}

// regridded says whether the surfaces of moved breakpoints differ by at most half a raw step everywhere. Of one
// conversion the raw surfaces are compared, which do not curve between breakpoints.
func (c *change) regridded() bool {
	a, b := c.baseTable.Cells, c.candTable.Cells
	all := len(c.joints) > 0
	alike := func(p, q float64) bool { return near(p, q, halfStep(a, b, p, q)) }
	bent := c.curved() && !c.one
	for _, j := range c.joints {
		if c.curved() && c.one {
			raw := *j
			raw.base, raw.cand = j.base.Raw(), j.cand.Raw()
			j, alike = &raw, func(p, q float64) bool { return rawAlike(a, p, q) }
		}
		j.each(func(p spot) { all = all && p.baseOff == p.candOff && (p.off() || bent || alike(p.base, p.cand)) })
	}
	for _, up := range []bool{true, false} {
		if all && bent {
			r, err := c.beyond(up)
			all = err == nil && r.cells+r.undecided == 0
		}
	}
	return all
}

// halfStep is half the coarser raw step of two blocks of cells, and a little for rounding. A float has
// no step of its own, and a rational none that is the same everywhere: there rounding alone counts.
func halfStep(a, b *definition.Cells, p, q float64) float64 {
	return float64(max(wholeStep(a), wholeStep(b))/2) + max(a.Rounding(p, q), b.Rounding(p, q))
}

// near says whether two values differ by at most the tolerance. NaN is close to NaN alone, an
// infinity to itself.
func near(a, b, tolerance float64) bool {
	if same(a, b) {
		return true
	}
	return !math.IsInf(tolerance, 0) && math.Abs(a-b) <= tolerance
}
