package surface

import (
	"fmt"
	"math"
	"slices"

	"witnessmark/tables/definition"
)

// Solid is a table over any number of axes, ready to be interpolated: linear in each, the fastest first. The first two
// are x and y; one that is absent has one breakpoint at 0.
type Solid struct {
	Axes    [][]float64               // rising
	Values  []float64                 // the first axis runs fastest; raw where Convert is set
	Convert func(raw float64) float64 // nil, or the conversion applied after interpolating
	strides []int
}

// Solid is the grid as one of two axes.
func (g *Grid) Solid() *Solid { return newSolid([][]float64{g.X, g.Y}, g.Values, g.Convert) }

func newSolid(axes [][]float64, values []float64, convert func(float64) float64) *Solid {
	s := &Solid{Axes: axes, Values: values, Convert: convert, strides: make([]int, len(axes))}
	n := 1
	for i, a := range axes {
		s.strides[i] = n
		n *= len(a)
	}
	return s
}

// With is the table with other numbers in its cells, which nothing converts.
func (d *Decoded) With(values []float64) *Decoded {
	t, cells := *d.Table, *d.Table.Cells
	cells.Conv = definition.Conversion{Factor: 1}
	t.Cells = &cells
	out := *d
	out.Table, out.Values, out.Slices = &t, values, nil
	for k, s := range d.Slices {
		n := len(s.Bits)
		out.Slices = append(out.Slices, s.With(values[k*n:(k+1)*n]))
	}
	return &out
}

// Codes is the table with a NaN where it holds a code that is no value, else 0; nil where all are values.
func (d *Decoded) Codes() *Decoded {
	if d.Off == nil {
		return nil
	}
	values := make([]float64, len(d.Bits))
	for i, off := range d.Off {
		if off {
			values[i] = math.NaN()
		}
	}
	return d.With(values)
}

// Beyond are the breakpoints of a block's axes beyond y, the fastest first, as stored.
func (d *Decoded) Beyond() [][]float64 {
	if len(d.Slices) == 0 {
		return nil
	}
	out := make([][]float64, len(d.Slices[0].Table.Slice.At))
	for _, s := range d.Slices {
		for i, at := range s.Table.Slice.At {
			if s.Table.Slice.Index[i] == len(out[i]) {
				out[i] = append(out[i], at.Point)
			}
		}
	}
	return out
}

// Solid is the table with all of its axes; the error says why it cannot be interpolated, as Grid's does.
func (d *Decoded) Solid() (*Solid, error) {
	if len(d.Slices) == 0 {
		g, err := d.Grid()
		if err != nil {
			return nil, err
		}
		return g.Solid(), nil
	}
	grids := make([]*Grid, len(d.Slices))
	for k, s := range d.Slices {
		var err error
		if grids[k], err = s.Grid(); err != nil {
			return nil, err
		}
	}
	axes := [][]float64{grids[0].X, grids[0].Y}
	turned := []bool{}
	for i, points := range d.Beyond() {
		axis, flipped, err := ascending(fmt.Sprintf("axis %d", i+3), points)
		if err != nil {
			return nil, fmt.Errorf("table %s: %w", d.Table.ID, err)
		}
		axes, turned = append(axes, axis), append(turned, flipped)
	}
	values := make([]float64, 0, len(d.Values))
	for k := range grids {
		from, step := 0, 1
		for i, flipped := range turned {
			n := len(axes[i+2])
			at := k / step % n
			if flipped {
				at = n - 1 - at
			}
			from += at * step
			step *= n
		}
		values = append(values, grids[from].Values...)
	}
	return newSolid(axes, values, grids[0].Convert), nil
}

// Raw is the same without its conversion.
func (s *Solid) Raw() *Solid { return newSolid(s.Axes, s.Values, nil) }

// At is the surface at a point of each axis, at a step the value at and above; a NaN gives NaN.
func (s *Solid) At(at ...float64) float64 {
	spans := make([]Span, len(s.Axes))
	for i, v := range at {
		if math.IsNaN(v) {
			return v
		}
		spans[i] = above(s.Axes[i], v)
	}
	v := s.Between(spans)
	if s.Convert == nil {
		return v
	}
	return s.Convert(v)
}

// Between is the surface at a place of each axis, before the conversion.
func (s *Solid) Between(at []Span) float64 { return s.between(len(s.Axes), 0, at) }

// between interpolates along the fastest axis first.
func (s *Solid) between(axes, from int, at []Span) float64 {
	if axes == 0 {
		return s.Values[from]
	}
	axes--
	p, stride := at[axes], s.strides[axes]
	low := s.between(axes, from+p.lo*stride, at)
	if p.lo == p.hi {
		return low
	}
	return mix(low, s.between(axes, from+p.hi*stride, at), p.t)
}

// Section is the grid along the axes x and y, by number, all others held where at has them; a negative number is no axis.
func (s *Solid) Section(x, y int, at []Span) *Grid {
	g := &Grid{X: []float64{0}, Y: []float64{0}, Convert: s.Convert}
	if x >= 0 {
		g.X = s.Axes[x]
	}
	if y >= 0 {
		g.Y = s.Axes[y]
	}
	at = slices.Clone(at)
	g.Values = make([]float64, 0, len(g.X)*len(g.Y))
	for r := range g.Y {
		if y >= 0 {
			at[y] = Span{lo: r, hi: r}
		}
		for c := range g.X {
			if x >= 0 {
				at[x] = Span{lo: c, hi: c}
			}
			g.Values = append(g.Values, s.Between(at))
		}
	}
	return g
}

// Less is how far a solid lies above another one on the same breakpoints. Where both hold no number, they do not differ.
func (s *Solid) Less(o *Solid) *Solid { return newSolid(s.Axes, less(s.Values, o.Values), nil) }
