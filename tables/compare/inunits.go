package compare

import (
	"cmp"
	"errors"
	"fmt"
	"slices"

	"witnessmark/tables/definition"
	"witnessmark/tables/surface"
	"witnessmark/tables/units"
)

// inUnitsOf is table b, read out of an image, as if its definition had used c's units, for its value and for its axes:
// the raw bits are the same and the conversion is another one. It is b itself where the units are the same; why says
// which ones do not convert.
func inUnitsOf(b, c *surface.Decoded, image []byte) (_ *surface.Decoded, why string) {
	from, like := b.Table, c.Table
	out := *from
	if from.Unit != like.Unit || from.UnitText != like.UnitText {
		to, err := converter(from.Quantity, from.Unit, from.UnitText, like.Quantity, like.Unit, like.UnitText)
		if err != nil {
			return nil, fmt.Sprintf("its unit is %s in the base's definition and %s in the candidate's: %v", unitOf(from), unitOf(like), err)
		}
		if b.Values != nil {
			out.Unit, out.Cells = like.Unit, inUnit(from.Cells, to)
		}
	}
	same := out.Cells == from.Cells
	out.Axes = slices.Clone(from.Axes)
	for k, a := range from.Axes {
		if out.Axes[k], why = axisInUnit(a, like.Axes[k]); why != "" {
			return nil, why
		}
		same = same && out.Axes[k] == a
	}
	if same {
		return b, ""
	}
	for k, axis := range []**definition.Axis{&out.X, &out.Y} {
		if k < len(out.Axes) {
			*axis = out.Axes[k]
		}
	}
	return surface.Decode(&out, image), ""
}

// converter is between two units; free text converts to nothing.
func converter(fromQuantity, from, fromText, toQuantity, to, toText string) (units.Converter, error) {
	if fromText != "" || toText != "" {
		return units.Converter{}, errors.New("free text does not convert")
	}
	return units.BetweenQuantities(fromQuantity, from, toQuantity, to)
}

func axisInUnit(a, like *definition.Axis) (_ *definition.Axis, why string) {
	if a.Unit == like.Unit && a.UnitText == like.UnitText {
		return a, ""
	}
	to, err := converter(a.Quantity, a.Unit, a.UnitText, like.Quantity, like.Unit, like.UnitText)
	if err != nil {
		return nil, fmt.Sprintf("an axis is in %s in the base's definition and in %s in the candidate's: %v", cmp.Or(a.Unit, a.UnitText), cmp.Or(like.Unit, like.UnitText), err)
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

// inUnit follows a conversion by a change of unit. Of an affine one that is affine again, of points they move; of a quotient
// n/d it is (factor n + offset d)/d.
func inUnit(cells *definition.Cells, to units.Converter) *definition.Cells {
	out := *cells
	switch points := cells.Conv.Points; {
	case points != nil:
		moved := &definition.Points{Raw: points.Raw, Step: points.Step}
		for _, v := range points.Physical {
			moved.Physical = append(moved.Physical, to.Level(v))
		}
		if points.Outside != nil {
			outside := to.Level(*points.Outside)
			moved.Outside = &outside
		}
		out.Conv.Points = moved
	case cells.Conv.Rational:
		for i, d := range cells.Conv.Den {
			out.Conv.Num[i] = float64(cells.Conv.Num[i]*to.Factor) + float64(d*to.Offset)
		}
	default:
		out.Conv.Factor = cells.Conv.Factor * to.Factor
		out.Conv.Offset = to.Level(cells.Conv.Offset)
	}
	return &out
}
