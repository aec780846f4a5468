package compare

import (
	"fmt"

	"witnessmark/tables/definition"
	"witnessmark/tables/units"
)

// inUnitsOf is table b as if its definition had used c's units, for its value and for its axes: the
// raw bits are the same and the conversion is another one. It is b itself where the units are
// the same; why says which ones do not convert.
func inUnitsOf(b, c *definition.Table) (_ *definition.Table, why string) {
	if b.Unit == c.Unit && sameUnit(b.X, c.X) && sameUnit(b.Y, c.Y) {
		return b, ""
	}
	out := *b
	to, err := units.BetweenQuantities(b.Quantity, b.Unit, c.Quantity, c.Unit)
	if b.Unit == c.Unit {
		to, err = units.Converter{Factor: 1}, nil
	}
	if err != nil {
		return nil, fmt.Sprintf("its unit is %s in the base's definition and %s in the candidate's: %v", b.Unit, c.Unit, err)
	}
	if b.Cells.Conv.Labels == nil {
		out.Unit, out.Cells = c.Unit, inUnit(b.Cells, to)
	}
	if out.X, why = axisInUnit(b.X, c.X); why != "" {
		return nil, why
	}
	if out.Y, why = axisInUnit(b.Y, c.Y); why != "" {
		return nil, why
	}
	return &out, ""
}

func sameUnit(a, b *definition.Axis) bool { return a == nil || b == nil || a.Unit == b.Unit }

func axisInUnit(a, like *definition.Axis) (_ *definition.Axis, why string) {
	if sameUnit(a, like) {
		return a, ""
	}
	to, err := units.BetweenQuantities(a.Quantity, a.Unit, like.Quantity, like.Unit)
	if err != nil {
		return nil, fmt.Sprintf("an axis is in %s in the base's definition and in %s in the candidate's: %v", a.Unit, like.Unit, err)
	}
	out := *a
	out.Unit = like.Unit
	if a.Cells != nil {
		out.Cells = inUnit(a.Cells, to)
		return &out, ""
	}
	out.Points = make([]float64, len(a.Points))
	for i, p := range a.Points {
		out.Points[i] = to.Level(p)
	}
	return &out, ""
}

// inUnit follows a conversion by a change of unit. Of an affine one that is affine again; of a quotient
// n/d it is (factor n + offset d)/d.
func inUnit(cells *definition.Cells, to units.Converter) *definition.Cells {
	out := *cells
	if !out.Conv.Rational {
		out.Conv.Factor = cells.Conv.Factor * to.Factor
		out.Conv.Offset = to.Level(cells.Conv.Offset)
		return &out
	}
	for i, d := range cells.Conv.Den {
		out.Conv.Num[i] = float64(cells.Conv.Num[i]*to.Factor) + float64(d*to.Offset)
	}
	return &out
}
