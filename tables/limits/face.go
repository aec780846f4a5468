package limits

import (
	"slices"
	"strings"

	"witnessmark/tables/definition"
	"witnessmark/tables/surface"
)

// face is a table of one image in the units of the candidate's table, so that the two sides of a
// comparison, or a table and another one, can be held against each other. Of a block nx and ny are a slice's, and
// cells are slice by slice; its slices alone have a grid.
type face struct {
	t      *definition.Table // of its own side
	d      *surface.Decoded
	x, y   []float64   // breakpoints as stored; nil where there is no such axis
	beyond [][]float64 // those of a block's axes beyond y
	nx, ny int
	bits   []uint64
	xBits  []uint64 // of stored breakpoints; nil where an axis is not stored
	yBits  []uint64
	values []float64 // row-major; nil for labels
	grid   *surface.Grid
	err    error // why there is no grid
	curved bool  // between its breakpoints the value is no straight line

	off    []bool        // cells that hold a code that is no value; nil for none
	codes  *surface.Grid // NaN where a cell holds one, else 0; nil for none
	scales []scale       // of its axes
	value  scale

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

// faceKey names a face in the cache, and says in which units it is wanted; an axis keeps its own where none is named.
type faceKey struct {
	of                     whose
	id                     string
	quantity, unit, ux, uy string
	beyond                 string // units of the axes beyond y, each with a line end
}

func keyOf(of whose, id string, like *definition.Table) faceKey {
	key := faceKey{of, id, like.Quantity, valueUnit(like), axisUnit(like.X), axisUnit(like.Y), ""}
	for _, a := range beyondY(like) {
		key.beyond += axisUnit(a) + "\n"
	}
	return key
}

func (k *faceKey) axes() []string {
	out := []string{k.ux, k.uy}
	for u := range strings.Lines(k.beyond) {
		out = append(out, strings.TrimSuffix(u, "\n"))
	}
	return out
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
	key := keyOf(of, id, like)
	if f := j.faces[key]; f != nil {
		return f, nil
	}
	f, err := j.newFace(d, key)
	if err == nil {
		j.faces[key] = f
	}
	return f, err
}

// newFace converts what was decoded.
func (j *judge) newFace(d *surface.Decoded, key faceKey) (*face, error) {
	if d.Astray != nil {
		return nil, unjudged("%v", d.Astray)
	}
	f := j.room.faces.One()
	*f = face{t: d.Table, d: d, nx: d.NX, ny: d.NY, bits: d.Bits, xBits: d.XBits, yBits: d.YBits, off: d.Off}
	if d.Values != nil {
		var err error
		if f.value, err = j.levels(d.Table.Quantity, valueUnit(d.Table), key.quantity, key.unit); err != nil {
			return nil, err
		}
		f.values = f.value.all(d.Values)
	}
	if err := f.convertAxes(j, key.axes()); err != nil {
		return nil, err
	}
	if len(d.Slices) > 0 {
		f.err = unjudged("a block has a surface in each slice")
	} else if err := f.raise(); err != nil {
		f.err = unjudged("%v", err)
	}
	return f, nil
}

// raise makes the surface.
func (f *face) raise() error {
	if isText(f.t) {
		return unjudged("it is a text")
	}
	g, err := f.d.Grid()
	if err == nil && f.off != nil {
		f.codes, err = f.d.Codes().Grid()
	}
	if err != nil {
		return err
	}
	if f.grid = g; f.value != nil || f.scales[0] != nil || f.scales[1] != nil || f.codes != nil {
		f.grid = &surface.Grid{X: f.scales[0].all(g.X), Y: f.scales[1].all(g.Y), Values: g.Values, Convert: f.converting(g.Convert)}
		if g.Convert == nil {
			f.grid.Values = f.value.all(g.Values)
		}
	}
	if f.codes != nil {
		f.codes.X, f.codes.Y = f.grid.X, f.grid.Y
		f.grid.Values = blanked(f.grid.Values, f.codes.Values)
	}
	f.curved = g.Convert != nil && (len(g.X) > 1 || len(g.Y) > 1)
	return nil
}

// convertAxes converts the breakpoints as stored.
func (f *face) convertAxes(j *judge, units []string) (err error) {
	f.scales = make([]scale, len(units))
	if f.scales[0], f.x, err = j.axisIn(f.t.X, f.d.X, units[0]); err != nil {
		return err
	}
	if f.scales[1], f.y, err = j.axisIn(f.t.Y, f.d.Y, units[1]); err != nil {
		return err
	}
	for i, points := range f.d.Beyond() {
		if i+flat >= len(units) {
			return unjudged("it has more axes than the table that it is read like")
		}
		s, converted, err := j.axisIn(axisAt(f.t, i+flat), points, units[i+flat])
		if err != nil {
			return err
		}
		f.scales[i+flat], f.beyond = s, append(f.beyond, converted)
	}
	return nil
}

// axisIn converts an axis' breakpoints as stored.
func (j *judge) axisIn(a *definition.Axis, points []float64, unit string) (scale, []float64, error) {
	if a == nil || unit == "" {
		return nil, points, nil
	}
	s, err := j.levels(a.Quantity, axisUnit(a), a.Quantity, unit)
	return s, s.all(points), err
}

func (f *face) converting(convert func(float64) float64) func(float64) float64 {
	if convert == nil || f.value == nil {
		return convert
	}
	return func(raw float64) float64 { return f.value(convert(raw)) }
}

// solid is the whole table with all of its axes, and where in it codes are that are no value: nil for none.
func (f *face) solid() (all, codes *surface.Solid, err error) {
	if all, err = f.d.Solid(); err == nil && f.off != nil {
		codes, err = f.d.Codes().Solid()
	}
	if err != nil {
		return nil, nil, unjudged("%v", err)
	}
	out := *all
	out.Axes, out.Convert = slices.Clone(all.Axes), f.converting(all.Convert)
	for i := range out.Axes {
		out.Axes[i] = f.scales[i].all(all.Axes[i])
	}
	if all.Convert == nil {
		out.Values = f.value.all(all.Values)
	}
	if codes != nil {
		codes.Axes = out.Axes
		out.Values = blanked(out.Values, codes.Values)
	}
	return &out, codes, nil
}

// cellAt is the place of a cell.
func (f *face) cellAt(row, col int) place {
	p := place{row: row, col: col, cell: true, point: row*f.nx + col, slice: f.t.Slice}
	if f.x != nil {
		p.x = f.x[col]
	}
	if f.y != nil {
		p.y = f.y[row]
	}
	return p
}

// cell is the place of a cell by number, of a block in its slice.
func (f *face) cell(i int) place {
	each := f.nx * f.ny
	p := f.cellAt(i%each/f.nx, i%f.nx)
	if p.point = i; len(f.d.Slices) > 0 {
		p.slice = f.d.Slices[i/each].Table.Slice
	}
	return p
}
