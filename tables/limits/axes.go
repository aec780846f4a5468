package limits

import (
	"cmp"

	"witnessmark/tables/definition"
)

// axesOf are x and y, nil where the table has no such axis.
func axesOf(t *definition.Table) [2]*definition.Axis { return [2]*definition.Axis{t.X, t.Y} }

// flat is how many axes a table has that no slices divide.
const flat = 2

// beyondY are the axes of a block beyond y.
func beyondY(t *definition.Table) []*definition.Axis {
	if len(t.Axes) <= flat {
		return nil
	}
	return t.Axes[flat:]
}

// axisAt is an axis by number: 0 for x, 1 for y, then those beyond; nil where there is none.
func axisAt(t *definition.Table, i int) *definition.Axis {
	if i < flat {
		return axesOf(t)[i]
	}
	return t.Axes[i]
}

// pairing is the number of the axis of a table that stands for a quantity, -1 for none. One without a quantity stands
// for none.
func pairing(t *definition.Table, quantity string) int {
	if quantity == "" {
		return -1
	}
	for i, a := range axesOf(t) {
		if a != nil && a.Quantity == quantity {
			return i
		}
	}
	for i, a := range beyondY(t) {
		if a.Quantity == quantity {
			return flat + i
		}
	}
	return -1
}

// axisFor is the axis of a table that has a quantity; nil if none.
func axisFor(t *definition.Table, quantity string) *definition.Axis {
	if i := pairing(t, quantity); i >= 0 {
		return axisAt(t, i)
	}
	return nil
}

// axisAlong is the axis that `along` names; nil if the table has none there.
func axisAlong(t *definition.Table, along string) *definition.Axis {
	if along == "y" {
		return t.Y
	}
	return t.X
}

// nameOf is what an axis beyond y is called.
func nameOf(a *definition.Axis) string { return cmp.Or(a.Quantity, a.ID) }

// line is one axis of a face.
type line struct {
	name   string // x, y, or what an axis beyond measures
	axis   *definition.Axis
	points []float64 // as stored
}

// lines are all axes of a face, by number; one that the table lacks has no axis.
func (f *face) lines() []line {
	out := []line{{"x", f.t.X, f.x}, {"y", f.t.Y, f.y}}
	for i, a := range beyondY(f.t) {
		out = append(out, line{nameOf(a), a, f.beyond[i]})
	}
	return out
}
