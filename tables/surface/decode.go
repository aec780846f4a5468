package surface

import (
	"fmt"
	"math"
	"slices"

	"witnessmark/tables/definition"
)

// Decoded is one table read out of one image. Cells are row-major: [row*NX+col], row along y.
type Decoded struct {
	Table *definition.Table
	X, Y  []float64 // physical breakpoints as stored; nil where there is no such axis
	// Raw bits of the breakpoints, after the mask: 64-bit ones may differ where the numbers above do
	// not. Nil where there is no such axis, or where it is not stored.
	XBits, YBits []uint64
	NX, NY       int
	Bits         []uint64  // raw bits, after the mask
	Values       []float64 // physical; nil for labels and texts
	Off          []bool    // where a cell holds a code that is no value, and Values a NaN; nil if none does
	// Of a block: its maps. Bits, Values and Off above are then theirs one after another, NX and NY theirs.
	Slices   []*Decoded
	Text     string             // of a text: without trailing NULs and blanks, what cannot be printed escaped
	TextBits []byte             // of a text: as stored
	Astray   *definition.Astray // the table leads outside, and nothing of it is decoded; else nil
}

// Decode reads a table as it lies in an image of the layout's space.
func Decode(t *definition.Table, image []byte) *Decoded {
	c := t.Cells
	d := &Decoded{Table: t, NX: c.NX, NY: c.NY, Bits: make([]uint64, c.NX*c.NY)}
	if t.X != nil {
		d.X, d.XBits = t.X.Breakpoints(image), axisBits(t.X, image)
	}
	if t.Y != nil {
		d.Y, d.YBits = t.Y.Breakpoints(image), axisBits(t.Y, image)
	}
	if c.Conv.Labels == nil {
		d.Values = make([]float64, len(d.Bits))
	}
	for row := range c.NY {
		for col := range c.NX {
			i := row*c.NX + col
			d.Bits[i] = c.Bits(image, row, col)
			if d.Values != nil {
				d.Values[i] = c.Conv.Apply(c.Number(d.Bits[i]))
			}
		}
	}
	return d
}

func axisBits(a *definition.Axis, image []byte) []uint64 {
	if a.Cells == nil {
		return nil
	}
	bits := make([]uint64, a.Count)
	for i := range bits {
		bits[i] = a.Cells.Bits(image, 0, i)
	}
	return bits
}

// Grid is the table ready to be interpolated. The error says why it cannot be: it holds labels, or
// its breakpoints neither rise nor fall, or one is not finite. Whether an index axis may be
// interpolated is the caller's affair.
func (d *Decoded) Grid() (*Grid, error) {
	if d.Values == nil {
		return nil, fmt.Errorf("table %s holds labels, which have no value in between", d.Table.ID)
	}
	x, flipX, err := ascending("x", d.X)
	if err != nil {
		return nil, fmt.Errorf("table %s: %w", d.Table.ID, err)
	}
	y, flipY, err := ascending("y", d.Y)
	if err != nil {
		return nil, fmt.Errorf("table %s: %w", d.Table.ID, err)
	}
	g := &Grid{X: x, Y: y}
	c := d.Table.Cells
	if c.Conv.Rational {
		g.Convert = c.Conv.Apply
	} else if !flipX && !flipY {
		g.Values = d.Values
		return g, nil
	}
	g.Values = make([]float64, len(d.Values))
	for row := range d.NY {
		for col := range d.NX {
			from := d.index(row, col, flipX, flipY)
			v := d.Values[from]
			if g.Convert != nil {
				v = c.Number(d.Bits[from])
			}
			g.Values[row*d.NX+col] = v
		}
	}
	return g, nil
}

// index is where the cell lies that the ascending row and column stand for.
func (d *Decoded) index(row, col int, flipX, flipY bool) int {
	if flipX {
		col = d.NX - 1 - col
	}
	if flipY {
		row = d.NY - 1 - row
	}
	return row*d.NX + col
}

// ascending is an axis in rising order, and whether that meant reading it backwards. Equal
// neighbours are allowed; an axis of equal breakpoints alone is a step in stored order.
func ascending(name string, points []float64) (_ []float64, flipped bool, _ error) {
	if points == nil {
		return []float64{0}, false, nil
	}
	rising, falling := true, true
	for i, p := range points {
		if !Finite(p) {
			return nil, false, fmt.Errorf("breakpoint %d along %s is %v, not a finite number", i, name, p)
		}
		if i > 0 {
			rising = rising && p >= points[i-1]
			falling = falling && p <= points[i-1]
		}
	}
	switch {
	case rising:
		return points, false, nil
	case falling:
		back := slices.Clone(points)
		slices.Reverse(back)
		return back, true, nil
	}
	return nil, false, fmt.Errorf("the breakpoints along %s neither rise nor fall", name)
}

// Finite says whether all of the numbers are numbers: none a NaN, none infinite.
func Finite(vs ...float64) bool {
	for _, v := range vs {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return false
		}
	}
	return true
}
