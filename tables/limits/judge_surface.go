package limits

import (
	"math"
	"slices"

	"witnessmark/tables/definition"
)

// sameAxes says whether an index means the same operating point in both.
func sameAxes(a, b *face) bool {
	return a.nx == b.nx && a.ny == b.ny && samePoints(a.x, b.x) && samePoints(a.y, b.y)
}

func samePoints(a, b []float64) bool {
	return slices.EqualFunc(a, b, func(p, q float64) bool { return p == q || math.IsNaN(p) && math.IsNaN(q) })
}

// surfaces says whether both have a surface, and points on one mean the same on the other.
func surfaces(a, b *face) error {
	switch {
	case a.err != nil:
		return a.err
	case b.err != nil:
		return b.err
	case !sameAxis(a.t.X, b.t.X) || !sameAxis(a.t.Y, b.t.Y):
		return unjudged("its axes stand for other quantities than the base's")
	case indexed(a.t.X) && !samePoints(a.x, b.x) || indexed(a.t.Y) && !samePoints(a.y, b.y):
		return unjudged("an index axis has other points than the base's, and is never interpolated")
	}
	return nil
}

func sameAxis(a, b *definition.Axis) bool {
	if a == nil || b == nil {
		return a == b
	}
	return a.Quantity == b.Quantity && slices.Equal(a.Labels, b.Labels)
}

func indexed(a *definition.Axis) bool { return a != nil && a.Index }
