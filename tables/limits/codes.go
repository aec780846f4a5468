package limits

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"witnessmark/tables/definition"
	"witnessmark/tables/surface"
)

func isText(t *definition.Table) bool { return t.Kind == "text" }

// blanked are values, NaN where codes are.
func blanked(values, codes []float64) []float64 {
	out := slices.Clone(values)
	for i, v := range codes {
		if v != v {
			out[i] = v
		}
	}
	return out
}

// lacks says whether a point is interpolated from a cell that is no value.
func (f *face) lacks(x, y surface.Span) bool {
	return f.codes != nil && math.IsNaN(f.codes.On(x, y))
}

// lacksAt is lacks on one side of the steps at a point.
func (f *face) lacksAt(x, y float64, s side) bool {
	return f.codes != nil && math.IsNaN(at(f.codes, x, y, s))
}

// isOff says whether one of some cells is no value.
func (f *face) isOff(cells ...int) bool {
	return f.off != nil && slices.ContainsFunc(cells, func(i int) bool { return f.off[i] })
}

// empty says that no cell is a value.
func (f *face) empty() bool { return f.off != nil && !slices.Contains(f.off, false) }

// patches counts the stretches between neighbouring breakpoints that touch a cell which is no value; a scalar is one.
func (f *face) patches() int {
	if f.off == nil {
		return 0
	}
	if len(f.d.Slices) > 0 {
		return count(f.off)
	}
	n := 0
	for row := range max(f.ny-1, 1) {
		for col := range max(f.nx-1, 1) {
			right, down := min(col+1, f.nx-1), min(row+1, f.ny-1)*f.nx
			if f.isOff(row*f.nx+col, row*f.nx+right, down+col, down+right) {
				n++
			}
		}
	}
	return n
}

func count(all []bool) (n int) {
	for _, one := range all {
		if one {
			n++
		}
	}
	return n
}

// passedOver is what a surface rule says of what it could not look at; nil if nothing.
func (s *subject) passedOver() error {
	var what []string
	if s.codes > 0 {
		what = append(what, fmt.Sprintf("its stretches between breakpoints that touch a cell which is no value: %d", s.codes))
	}
	if s.codesOf > 0 {
		what = append(what, fmt.Sprintf("what meets cells of table %s that are no value: %d", s.kind.against(s.rule), s.codesOf))
	}
	if what == nil {
		return nil
	}
	return unjudged("passed over %s", strings.Join(what, ", and "))
}
