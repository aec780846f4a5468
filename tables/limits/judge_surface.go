package limits

import (
	"math"
	"slices"

	"witnessmark/tables/definition"
	"witnessmark/tables/surface"
)

// face is a table of one image in the units of the candidate's table, so that the two sides of a
// comparison, or a table and another one, can be held against each other.
type face struct {
	t      *definition.Table // of its own side
	d      *surface.Decoded
	x, y   []float64 // breakpoints as stored; nil where there is no such axis
	nx, ny int
	bits   []uint64
	xBits  []uint64 // of stored breakpoints; nil where an axis is not stored
	yBits  []uint64
	values []float64 // row-major; nil for labels
	grid   *surface.Grid
	err    error // why there is no grid
	curved bool  // between its breakpoints the value is no straight line

	tracks [2]*track // along x and y, once they were asked for

	ranged      bool // whether least and most are known
	least, most float64
}

// whose is the image that a table is read out of.
type whose int

const (
	ofCandidate whose = iota
	ofBase
	ofAsFound
)

// tables are nil where there is no such image.
func (j *judge) tables(of whose) func(id string) *surface.Decoded {
	return [...]func(string) *surface.Decoded{j.in.Candidate, j.in.Base, j.in.AsFound}[of]
}

// faceKey names a face in the cache.
type faceKey struct {
	of                     whose
	id                     string
	quantity, unit, ux, uy string
}

// axisUnit is the unit of an axis that may be missing.
func axisUnit(a *definition.Axis) string {
	if a == nil {
		return ""
	}
	return a.Unit
}

// face reads table id out of one image, in the units of like. It is nil without an error where
// that image has no such table.
func (j *judge) face(of whose, id string, like *definition.Table) (*face, error) {
	read := j.tables(of)
	if read == nil {
		return nil, nil
	}
	d := read(id)
	if d == nil {
		return nil, nil
	}
	key := faceKey{of, id, like.Quantity, like.Unit, axisUnit(like.X), axisUnit(like.Y)}
	if f := j.faces[key]; f != nil {
		return f, nil
	}
	f, err := newFace(d, key)
	if err == nil {
		j.faces[key] = f
	}
	return f, err
}

// newFace converts what was decoded. An axis keeps its own unit where key names none.
func newFace(d *surface.Decoded, key faceKey) (*face, error) {
	value, err := levels(d.Table.Quantity, d.Table.Unit, key.quantity, key.unit)
	if err != nil {
		return nil, err
	}
	f := &face{t: d.Table, d: d, nx: d.NX, ny: d.NY, bits: d.Bits, xBits: d.XBits, yBits: d.YBits, values: value.all(d.Values)}
	var x, y scale
	if x, f.x, err = axisIn(d.Table.X, d.X, key.ux); err != nil {
		return nil, err
	}
	if y, f.y, err = axisIn(d.Table.Y, d.Y, key.uy); err != nil {
		return nil, err
	}
	g, err := d.Grid()
	if err != nil {
		f.err = unjudged("%v", err)
		return f, nil
	}
	f.grid = &surface.Grid{X: x.all(g.X), Y: y.all(g.Y), Values: g.Values, Convert: g.Convert}
	switch {
	case g.Convert == nil:
		f.grid.Values = value.all(g.Values)
	case value != nil:
		f.grid.Convert = func(raw float64) float64 { return value(g.Convert(raw)) }
	}
	f.curved = g.Convert != nil && (len(g.X) > 1 || len(g.Y) > 1)
	return f, nil
}

// axisIn converts an axis' breakpoints as stored.
func axisIn(a *definition.Axis, points []float64, unit string) (scale, []float64, error) {
	if a == nil || unit == "" {
		return nil, points, nil
	}
	s, err := levels(a.Quantity, a.Unit, a.Quantity, unit)
	return s, s.all(points), err
}

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
	return a.Quantity == b.Quantity
}

func indexed(a *definition.Axis) bool { return a != nil && a.Index }

// cellAt is the place of a cell.
func (f *face) cellAt(row, col int) place {
	p := place{row: row, col: col, cell: true, point: row*f.nx + col}
	if f.x != nil {
		p.x = f.x[col]
	}
	if f.y != nil {
		p.y = f.y[row]
	}
	return p
}
