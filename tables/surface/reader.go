package surface

import (
	"errors"

	"witnessmark/tables/arena"
	"witnessmark/tables/definition"
)

// Reader decodes tables of one image. What they share is decoded once.
type Reader struct {
	image  []byte
	axes   map[*definition.Axis]points
	tables arena.Of[Decoded]
	bits   arena.Of[uint64]
	values arena.Of[float64]
}

// points are breakpoints as Decoded has them.
type points struct {
	at   []float64
	bits []uint64
}

// NewReader is for an image of a layout's space.
func NewReader(image []byte) *Reader {
	return &Reader{image: image, axes: map[*definition.Axis]points{}}
}

// Decode reads a table as it lies in the image.
func (r *Reader) Decode(t *definition.Table) *Decoded {
	d := r.tables.One()
	in, err := t.In(r.image)
	if err != nil {
		d.Table = t
		errors.As(err, &d.Astray)
		return d
	}
	d.Table = in
	if in.X != nil {
		d.X, d.XBits = r.Points(in.X)
	}
	if in.Y != nil {
		d.Y, d.YBits = r.Points(in.Y)
	}
	if slices := in.Slices(r.image); slices != nil {
		d.block(r.image, slices)
		return d
	}
	n := in.Cells.NX * in.Cells.NY
	var values []float64
	if d.numeric() {
		values = r.values.Take(n)
	}
	if d.cells(r.image, r.bits.Take(n), values); in.Kind == "text" {
		at := in.Cells.Extent()
		d.TextBits, d.Text = r.image[at.Start:at.End:at.End], definition.Text(r.image[at.Start:at.End], in.UTF8)
	}
	return d
}

// Points are the breakpoints of an axis as it lies in the image, as stored, and their raw bits: nil where they are not stored.
func (r *Reader) Points(a *definition.Axis) ([]float64, []uint64) {
	if a.Cells == nil {
		return a.Points, nil
	}
	p, known := r.axes[a]
	if !known {
		p = points{r.values.Take(a.Count), r.bits.Take(a.Count)}
		a.Cells.Read(r.image, p.bits)
		a.Cells.Convert(p.bits, p.at)
		r.axes[a] = p
	}
	return p.at, p.bits
}
