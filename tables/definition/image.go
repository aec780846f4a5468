package definition

import "witnessmark/tables/image"

// ReadImage reads an image file over the definition's whole range; an empty format is detected by
// content. Errors begin with name and say the line or offset, what is wrong and what is allowed.
func (l *Layout) ReadImage(name string, file []byte, format image.Format) (*image.Image, error) {
	return image.Read(name, file, format, l.Space)
}

// Lacks is what an image does not hold of tables, axes, identity fields and checksums (their
// ranges, and where the sums are stored), as addresses.
func (l *Layout) Lacks(im *image.Image) []image.Range {
	gaps := l.gaps(im)
	var needed []image.Range
	cells := func(c *Cells) {
		if c != nil && len(image.Common(gaps, []image.Range{c.Extent()})) > 0 {
			needed = append(needed, c.Ranges()...)
		}
	}
	for _, a := range l.Axes {
		cells(a.Cells)
	}
	for _, t := range l.Tables {
		cells(t.Cells)
	}
	for _, f := range l.Identity {
		needed = append(needed, f.Range)
	}
	for _, c := range l.Checksums {
		needed = append(needed, c.Needs(im.Bytes)...)
	}
	return l.Space.Addresses(image.Common(image.Join(needed), gaps))
}

// Holds says whether an image holds all of a table and of its stored axes.
func (l *Layout) Holds(im *image.Image, t *Table) bool {
	gaps := l.gaps(im)
	whole := func(c *Cells) bool { return c == nil || len(image.Common(gaps, c.Ranges())) == 0 }
	return len(gaps) == 0 || whole(t.Cells) && (t.X == nil || whole(t.X.Cells)) && (t.Y == nil || whole(t.Y.Cells))
}

// gaps are the offsets that an image does not hold.
func (l *Layout) gaps(im *image.Image) []image.Range {
	return image.Join(l.Space.Offsets(im.Gaps()))
}

// Extent is the smallest range of offsets that holds all cells.
func (c *Cells) Extent() image.Range {
	if c.NX <= 0 || c.NY <= 0 {
		return image.Range{Start: c.Offset, End: c.Offset}
	}
	return image.Range{Start: c.Offset, End: c.At(c.NY-1, c.NX-1) + uint64(c.Bytes)}
}

// Ranges are the offsets of the cells' bytes, without those between cells.
func (c *Cells) Ranges() []image.Range {
	all := make([]image.Range, 0, max(c.NX*c.NY, 0))
	for row := range c.NY {
		for col := range c.NX {
			at := c.At(row, col)
			all = append(all, image.Range{Start: at, End: at + uint64(c.Bytes)})
		}
	}
	return image.Join(all)
}
