package compare

import (
	"fmt"
	"slices"

	"witnessmark/tables/definition"
	"witnessmark/tables/image"
)

// SameInCar says whether found is what was written, as far as that says anything: equal outside volatile
// ranges and the stored fields of checksums that are restamped on write, which must be valid in found
// instead. Where it is not, why names the first place and how much differs.
func SameInCar(lay *definition.Layout, written, found *image.Image) (same bool, why string) {
	if err := sized("the written image", written, lay); err != nil {
		return false, err.Error()
	}
	if err := sized("the image found", found, lay); err != nil {
		return false, err.Error()
	}
	unknown := append(written.Gaps(), lay.Space.Addresses(lay.Volatile)...)
	if lacks := image.Minus(found.Gaps(), image.Join(unknown)); len(lacks) > 0 {
		return false, fmt.Sprintf("the image found lacks what lies at 0x%x", lacks[0].Start)
	}
	unwritten, unread := sideOf(lay, written).holes, sideOf(lay, found).holes
	runs := known(written.Bytes, found.Bytes, differing(written.Bytes, found.Bytes), unwritten.gaps)
	o := newOwners(written.Bytes, found.Bytes, runs)
	for _, r := range lay.Volatile {
		o.claimRange(r, ofVolatile)
	}
	for _, c := range lay.Checksums {
		if c.Restamped {
			for _, cells := range c.Stamped() {
				o.claimCells(cells, ofChecksum)
			}
		}
	}
	n, first := 0, uint64(0)
	for i, run := range o.runs {
		for at := run.Start; at < run.End; at++ {
			if (o.a[at]^o.b[at])&^o.covered[o.first[i]+int(at-run.Start)] != 0 {
				if n == 0 {
					first = at
				}
				n++
			}
		}
	}
	if n > 0 {
		differ := several(n, "byte") + " differ"
		if n == 1 {
			differ += "s"
		}
		return false, fmt.Sprintf("%s, the first at %s%s", differ, address(lay, first), within(sideOf(lay, written), first))
	}
	for _, c := range lay.Checksums {
		if !c.Restamped {
			continue
		}
		if lacks := unread.of["checksum "+c.ID]; len(lacks) > 0 {
			if len(image.Minus(lacks, unwritten.gaps)) == 0 {
				continue // nobody knows it: neither file has all that it covers
			}
			return false, fmt.Sprintf("checksum %s cannot be checked: the image found lacks %s", c.ID, spans(lay, lacks))
		}
		for _, sum := range c.In(found.Bytes) {
			if stored, computed := sum.Verify(found.Bytes); stored != computed {
				return false, fmt.Sprintf("checksum %s holds %s, computed is %s", sum.ID, stored, computed)
			}
		}
	}
	return true, ""
}

// within names what the definition has at an offset of an image, in brackets; empty where it has nothing.
func within(s *side, at uint64) string {
	lay := s.lay
	holds := func(c *definition.Cells) bool { return c.Touches(image.Range{Start: at, End: at + 1}) }
	for _, t := range lay.Tables {
		if slices.ContainsFunc(s.needs(t), holds) {
			return " (table " + t.ID + ")"
		}
	}
	varying := lay.VaryingAxes()
	for _, a := range lay.Axes {
		if a.Cells != nil && !varying[a] && holds(a.Cells) {
			return " (axis " + a.ID + ")"
		}
	}
	for _, f := range lay.Identity {
		if f.Range.Start <= at && at < f.Range.End {
			return " (identity " + f.ID + ")"
		}
	}
	for _, c := range lay.Checksums {
		if slices.ContainsFunc(c.Owned(), holds) {
			return " (checksum " + c.ID + ")"
		}
	}
	return ""
}
