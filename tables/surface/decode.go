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
func Decode(t *definition.Table, image []byte) *Decoded { return NewReader(image).Decode(t) }

// block reads the slices of a block, which share its breakpoints.
func (d *Decoded) block(image []byte, slices []*definition.Table) {
	n := slices[0].Cells.NX * slices[0].Cells.NY
	d.Bits, d.Values = make([]uint64, n*len(slices)), d.numbers(n*len(slices))
	for k, t := range slices {
		s := &Decoded{Table: t, X: d.X, Y: d.Y, XBits: d.XBits, YBits: d.YBits}
		var values []float64
		if d.Values != nil {
			values = d.Values[k*n : (k+1)*n : (k+1)*n]
		}
		s.cells(image, d.Bits[k*n:(k+1)*n:(k+1)*n], values)
		if d.Slices = append(d.Slices, s); s.Off != nil && d.Off == nil {
			d.Off = make([]bool, len(d.Bits))
		}
		copy(d.Off[min(k*n, len(d.Off)):], s.Off)
	}
	d.NX, d.NY = d.Slices[0].NX, d.Slices[0].NY
}

// numbers is room for values, of tables that have any.
func (d *Decoded) numbers(n int) []float64 {
	if !d.numeric() {
		return nil
	}
	return make([]float64, n)
}

func (d *Decoded) numeric() bool { return d.Table.Cells.Conv.Labels == nil && d.Table.Kind != "text" }

// cells reads the cells of a table that is no block into bits and values, row by row.
func (d *Decoded) cells(image []byte, bits []uint64, values []float64) {
	c := d.Table.Cells
	d.NX, d.NY, d.Bits, d.Values = c.NX, c.NY, bits, values
	c.Read(image, bits)
	if values == nil {
		return
	}
	c.Convert(bits, values)
	if len(c.NotAValue) == 0 {
		return
	}
	for i, b := range bits {
		if c.Off(b) {
			if d.Off == nil {
				d.Off = make([]bool, len(bits))
			}
			d.Off[i], values[i] = true, math.NaN()
		}
	}
}

// Grid is the table ready to be interpolated, of a block that of its first slice. The error says why it cannot be: it holds
// labels or text, its breakpoints neither rise nor fall, one is not finite, or it leads outside the image. Whether an index axis
// may be interpolated is the caller's affair. A code that is no value is a NaN.
func (d *Decoded) Grid() (*Grid, error) {
	switch {
	case d.Astray != nil:
		return nil, d.Astray
	case d.Table.Kind == "text":
		return nil, fmt.Errorf("table %s holds text, which has no value", d.Table.ID)
	case d.Values == nil:
		return nil, fmt.Errorf("table %s holds labels, which have no value in between", d.Table.ID)
	case d.Slices != nil:
		return d.Slices[0].Grid()
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
	if c.Conv.Rational || c.Conv.Points != nil {
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
			if g.Convert != nil && (d.Off == nil || !d.Off[from]) {
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
