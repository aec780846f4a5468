package signal

import (
	"fmt"
	"math"
	"slices"

	"witnessmark/tables/definition"
	"witnessmark/tables/surface"
)

// opened is a table ready to be looked up, or why it cannot be: its surface before a conversion that is not affine, of
// labels the raw values.
type opened struct {
	cells *definition.Cells
	flat  *surface.Enclosed // of a scalar, a curve or a map
	solid *surface.Solid    // of a block
	codes *surface.Solid    // where cells are no value a NaN, else 0; nil where all are values
	err   error
}

// openTable puts a number in the place of codes if asked to, else a NaN.
func openTable(d *surface.Decoded, numbered bool) *opened {
	if d.Astray != nil {
		return &opened{err: d.Astray}
	}
	o := &opened{cells: d.Table.Cells}
	values := d.Values
	if !o.cells.Conv.Affine() {
		values = make([]float64, len(d.Bits))
		for i, b := range d.Bits {
			values[i] = o.cells.Number(b)
		}
	}
	if codes := d.Codes(); codes != nil {
		if values, o.err = withoutCodes(d, values, numbered); o.err == nil {
			o.codes, o.err = codes.Solid()
		}
	}
	if o.err != nil {
		return o
	}
	if d.Off != nil || !o.cells.Conv.Affine() {
		d = d.With(values)
	}
	if len(d.Slices) > 0 {
		o.solid, o.err = d.Solid()
		return o
	}
	g, err := d.Grid()
	if o.err = err; err == nil {
		o.flat = g.Enclose()
	}
	return o
}

// withoutCodes are values in which those that are none are NaN, or the first that is one.
func withoutCodes(d *surface.Decoded, values []float64, numbered bool) ([]float64, error) {
	by, first := math.NaN(), slices.Index(d.Off, false)
	if first < 0 {
		return nil, fmt.Errorf("every cell of table %s holds a code that is no value", d.Table.ID)
	}
	if numbered {
		by = values[first]
	}
	values = slices.Clone(values)
	for i, off := range d.Off {
		if off {
			values[i] = by
		}
	}
	return values, nil
}

// axes are the breakpoints along x, y and beyond, rising.
func (o *opened) axes() [][]float64 {
	if o.solid != nil {
		return o.solid.Axes
	}
	return [][]float64{o.flat.X, o.flat.Y}
}

// lookup is the table's value at a place along each axis.
func (s *Space) lookupOf(o *opened, at []coordinate, seen *bool) *Function {
	var f *Function
	if o.solid != nil {
		f = s.deep(o.solid, at, seen, o.codes)
	} else {
		f = s.lookup(o.flat, at[0], at[1], seen)
		f.op.(*lookup).codes = o.codes
	}
	return s.converted(o.cells, f)
}

// converted is a table's value out of its surface.
func (s *Space) converted(cells *definition.Cells, f *Function) *Function {
	switch conv := &cells.Conv; {
	case conv.Rational:
		return s.rational(f, cells)
	case conv.Points != nil:
		return s.function(&pointwise{f, conv.Points, !cells.Float}, f)
	}
	return f
}
