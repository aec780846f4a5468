package view

import (
	"slices"
	"strconv"
	"strings"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/definition"
	"witnessmark/tables/said"
	"witnessmark/tables/surface"
)

// unitOf is a unit behind a number; a ratio has none.
func unitOf(u string) string {
	if u == "" || u == "1" {
		return ""
	}
	return " " + u
}

// unitIn is what a table or an axis is counted in, behind a number: a UCUM code or free text.
func unitIn(unit, text string) string {
	return unitOf(orElse(unit, strings.Join(strings.Fields(text), " ")))
}

func tableUnit(t *definition.Table) string { return unitIn(t.Unit, t.UnitText) }

// axisUnit is what an axis is counted in; empty where there is none.
func axisUnit(a *definition.Axis) string {
	if a == nil {
		return ""
	}
	return strings.TrimSpace(unitIn(a.Unit, a.UnitText))
}

func words(quantity string) string { return strings.ReplaceAll(quantity, "_", " ") }

// named is an axis in words: what it measures, else its id where somebody gave it one, else its side of the table.
func named(a *definition.Axis, side string) string {
	switch {
	case a == nil:
		return ""
	case a.Quantity != "":
		return words(a.Quantity)
	case a.ID != "" && !strings.HasSuffix(a.ID, "."+side):
		return words(a.ID)
	}
	return side
}

// side is what an axis of a table is called for short, the fastest first.
func side(i int) string {
	if i < 3 {
		return "xyz"[i : i+1]
	}
	return strconv.Itoa(i + 1)
}

// axisName is an axis as a heading.
func axisName(a *definition.Axis, side string) string {
	if u := axisUnit(a); u != "" {
		return named(a, side) + ", " + u
	}
	return named(a, side)
}

// along is one coordinate of an operating point, as in "engine speed 4500 1/min" or "gear third".
func along(a *definition.Axis, side string, v float64) string {
	name, unit, n := side, "", decimals(-1)
	if a != nil {
		name, n = named(a, side), places(a.Cells)
		if i := int(v); a.Labels != nil && float64(i) == v && i >= 0 && i < len(a.Labels) {
			return name + " " + a.Labels[i]
		}
		if unit = axisUnit(a); unit != "" {
			unit = " " + unit
		}
	}
	if whole(v, 0) {
		n = 0
	}
	return name + " " + n.near(v) + unit
}

// axisOf is the i-th axis of a table, the fastest first; nil where there is none.
func axisOf(t *definition.Table, i int) *definition.Axis {
	if t == nil || i >= len(t.Axes) {
		return nil
	}
	return t.Axes[i]
}

// point is an operating point; the parts that are not given are left out.
func point(t *definition.Table, x, y *float64) string {
	var out []string
	for i, v := range []*float64{x, y} {
		if v != nil {
			out = append(out, along(axisOf(t, i), side(i), *v))
		}
	}
	return strings.Join(out, ", ")
}

// where is the operating point of a worst point: by its breakpoints, by the names of those that have one, and by its slice.
func where(t *definition.Table, w *calibrationv1.Worst) string {
	var out []string
	if at := point(t, w.X, w.Y); at != "" {
		out = append(out, at)
	}
	for i, label := range []*string{w.XLabel, w.YLabel} {
		if label != nil {
			out = slices.Insert(out, min(i, len(out)), orElse(named(axisOf(t, i), side(i)), side(i))+" "+*label)
		}
	}
	return strings.Join(append(out, ofSlice(t, w.GetSlice())...), ", ")
}

// ofSlice is where a report's slice lies along the axes beyond y.
func ofSlice(t *definition.Table, s *calibrationv1.Slice) (out []string) {
	for i, at := range s.GetAt() {
		a, name := axisOf(t, i+2), side(i+2)
		if v, ok := said.NumberIn(at); ok {
			out = append(out, along(a, name, v))
		} else {
			out = append(out, orElse(named(a, name), name)+" "+at.GetStringValue())
		}
	}
	return out
}

// headings are breakpoints as they stand over columns; one empty heading where there is no axis.
func headings(a *definition.Axis, points []float64, n int) []string {
	out := make([]string, n)
	if a == nil {
		return out
	}
	if a.Labels != nil {
		for i := range min(n, len(points)) {
			out[i] = a.Labels[int(points[i])]
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
