package definition

import (
	"errors"
	"slices"
	"sort"

	"witnessmark/tables/image"
)

// ReadImage reads an image file over the definition's whole range; an empty format is detected by
// content. Errors begin with name and say the line or offset, what is wrong and what is allowed.
func (l *Layout) ReadImage(name string, file []byte, format image.Format) (*image.Image, error) {
	return image.Read(name, file, format, l.Space)
}

// Lacks is what an image does not hold of tables, axes, identity fields and checksums (their
// ranges, and where the sums are stored), as addresses.
func (l *Layout) Lacks(im *image.Image) []image.Range {
	var lacks []image.Range
	cells := func(all ...*Cells) {
		for _, c := range all {
			if c != nil {
				lacks = append(lacks, l.lacksOf(im, c)...)
			}
		}
	}
	varying := l.VaryingAxes()
	for _, a := range l.Axes {
		if a.Pointer() == nil && a.CountedAt() == nil && !varying[a] {
			cells(a.Cells)
		}
	}
	for _, t := range l.Tables {
		cells(l.needs(im, t)...)
	}
	var ranges []image.Range
	for _, f := range l.Identity {
		ranges = append(ranges, f.Range)
	}
	for _, c := range l.Checksums {
		ranges = append(ranges, c.Needs(im.Bytes)...)
	}
	for _, r := range ranges {
		lacks = append(lacks, l.unheld(im, r)...)
	}
	return l.Space.Addresses(image.Join(lacks))
}

// VaryingAxes are the axes of tables that vary alone: where they lie is known with those.
func (l *Layout) VaryingAxes() map[*Axis]bool {
	all := map[*Axis]bool{}
	for _, t := range l.Varying {
		for _, a := range t.Axes {
			all[a] = true
		}
	}
	if len(all) == 0 {
		return nil
	}
	for _, t := range l.Tables {
		if t.Varies() {
			continue
		}
		for _, a := range t.Axes {
			delete(all, a)
		}
	}
	return all
}

// Holds says whether an image holds all of a table and of its stored axes.
func (l *Layout) Holds(im *image.Image, t *Table) bool { return l.whole(im, l.needs(im, t)) }

// needs are the cells that a table and its axes have in an image. What hangs on a pointer or a count that the image lacks
// cannot be known: of it there is then the most that stands at its own address.
func (l *Layout) needs(im *image.Image, t *Table) []*Cells {
	in, all, err := t.Found(im.Bytes, func(c *Cells) bool { return l.whole(im, []*Cells{c}) })
	switch {
	case err == nil:
		t = in
	case errors.Is(err, ErrUnknown):
		all = append(all, t.Directions()...)
	default: // it leads outside, whatever the image lacks
		return all
	}
	for _, a := range t.Axes {
		if a.Cells != nil && (a.Of != nil || a.Pointer() == nil) {
			all = append(all, a.Cells)
		}
	}
	if t.Of != nil || t.Pointer() == nil {
		all = append(all, t.Cells)
	}
	return all
}

func (l *Layout) whole(im *image.Image, all []*Cells) bool {
	return !slices.ContainsFunc(all, func(c *Cells) bool { return len(l.lacksOf(im, c)) > 0 })
}

// lacksOf is what an image does not hold of cells, as offsets.
func (l *Layout) lacksOf(im *image.Image, c *Cells) []image.Range {
	if gaps := l.unheld(im, c.Extent()); len(gaps) > 0 {
		return image.Common(c.Ranges(), gaps)
	}
	return nil
}

// unheld is what of a range of offsets an image does not hold. It looks at what is held around it alone.
func (l *Layout) unheld(im *image.Image, offsets image.Range) []image.Range {
	var gaps []image.Range
	for _, at := range l.Space.Addresses([]image.Range{offsets}) {
		from := sort.Search(len(im.Held), func(i int) bool { return im.Held[i].End > at.Start })
		to := from + sort.Search(len(im.Held)-from, func(i int) bool { return im.Held[from+i].Start >= at.End })
		gaps = append(gaps, l.Space.Offsets(image.Minus([]image.Range{at}, im.Held[from:to]))...)
	}
	return image.Join(gaps)
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
