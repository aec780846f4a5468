package limits

import "witnessmark/tables/definition"

func axesOf(t *definition.Table) [2]*definition.Axis { return [2]*definition.Axis{t.X, t.Y} }

// pairing says which axis of a table stands for a quantity: 0 for x, 1 for y, -1 for none.
func pairing(t *definition.Table, quantity string) int {
	for i, a := range axesOf(t) {
		if a != nil && a.Quantity == quantity {
			return i
		}
	}
	return -1
}

// axisFor is the axis of a table that has a quantity; nil if none.
func axisFor(t *definition.Table, quantity string) *definition.Axis {
	if i := pairing(t, quantity); i >= 0 {
		return axesOf(t)[i]
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
