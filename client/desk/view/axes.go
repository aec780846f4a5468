package view

import (
	"slices"
	"strings"

	"witnessmark/client/sheet"
	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/definition"
	"witnessmark/tables/surface"
)

func tableUnit(t *definition.Table) string { return sheet.Unit(t.Unit, t.UnitText) }

// axisUnit is what an axis is counted in; empty where there is none.
func axisUnit(a *definition.Axis) string {
	if a == nil {
		return ""
	}
	return strings.TrimSpace(sheet.Unit(a.Unit, a.UnitText))
}

// named is an axis in words; empty where there is none.
func named(a *definition.Axis, side string) string {
	if a == nil {
		return ""
	}
	return sheet.Named(a, side)
}

// axisName is an axis as a heading.
func axisName(a *definition.Axis, side string) string {
	if u := axisUnit(a); u != "" {
		return named(a, side) + ", " + u
	}
	return named(a, side)
}

// coordinate says a point of an axis with as many digits as its stored points have, and one more where that is not one of them.
var coordinate sheet.Number = func(a *definition.Axis, side string, v float64) string {
	n, unit := decimals(-1), ""
	if a != nil {
		n, unit = places(a.Cells), sheet.Unit(a.Unit, a.UnitText)
	}
	if whole(v, 0) {
		n = 0
	}
	return sheet.Named(a, side) + " " + n.near(v) + unit
}

// point is an operating point; the parts that are not given are left out.
func point(t *definition.Table, x, y *float64) string {
	return coordinate.Where(t, (*calibrationv1.Worst)(nil), x, y)
}

// headings are breakpoints as they stand over columns; one empty heading where there is no axis.
func headings(a *definition.Axis, points []float64, n int) []string {
	out := make([]string, n)
	if a == nil {
		return out
	}
	if a.Labels != nil {
		for i := range min(n, len(points)) {
			out[i] = sheet.Label(a, points[i])
		}
		return out
	}
	d := places(a.Cells)
	for short := decimals(0); short < d; short++ { // 600, not 600.00, where no breakpoint needs more
		if !slices.ContainsFunc(points, func(p float64) bool { return surface.Finite(p) && !whole(p, int(short)) }) {
			d = short
		}
	}
	for i := range out {
		if i < len(points) {
			out[i] = d.text(points[i])
		}
	}
	return out
}
