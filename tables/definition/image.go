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
	if len(gaps) == 0 {
		return nil
	}
	var needed []image.Range
	cells := func(all ...*Cells) {
		for _, c := range all {
			if c != nil && len(image.Common(gaps, []image.Range{c.Extent()})) > 0 {
				needed = append(needed, c.Ranges()...)
			}
		}
	}
	for _, a := range l.Axes {
		if a.placed != nil && a.placed.pointer == nil && a.placed.count == nil {
			cells(a.Cells)
		}
	}
	for _, t := range l.Tables {
		cells(l.needs(im, gaps, t)...)
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
	return len(gaps) == 0 || whole(gaps, l.needs(im, gaps, t))
}

// needs are the cells that a table and its axes have in an image. What hangs on a pointer or a count that the image lacks
// cannot be known: of it there is then the most that stands at its own address.
func (l *Layout) needs(im *image.Image, gaps []image.Range, t *Table) []*Cells {
	all := t.Directions()
	if t.Varies() {
		r, err := t, error(nil)
		if whole(gaps, all) {
			r, err = t.In(im.Bytes)
		}
		if err != nil { // it leads outside, whatever the image lacks
			return all
		}
		t = r
	}
	for _, a := range t.Axes {
		if a.Cells != nil && (a.Of != nil || a.placed == nil || a.placed.pointer == nil) {
			all = append(all, a.Cells)
		}
	}
	if t.Of != nil || t.placed == nil || t.placed.pointer == nil {
		all = append(all, t.Cells)
	}
	return all
}

func whole(gaps []image.Range, all []*Cells) bool {
	for _, c := range all {
		if len(image.Common(gaps, []image.Range{c.Extent()})) > 0 && len(image.Common(gaps, c.Ranges())) > 0 {
			return false
		}
	}
	return true
}

// gaps are the offsets that an image does not hold.
func (l *Layout) gaps(im *image.Image) []image.Range {
	return image.Join(l.Space.Offsets(im.Gaps()))
}

// Extent is the smallest range of offsets that holds all cells.
func (c *Cells) Extent() image.Range {
	r := image.Range{Start: c.Offset, End: c.Offset}
	if c.NX <= 0 || c.NY <= 0 {
		return r
	}
	for _, far := range []int64{int64(c.NX-1) * c.StepX, int64(c.NY-1) * c.StepY} {
		r.Start, r.End = r.Start+uint64(min(far, 0)), r.End+uint64(max(far, 0))
	}
	r.End += uint64(c.Bytes)
	return r
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
