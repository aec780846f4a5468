package compare

import (
	"fmt"
	"slices"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/definition"
	"witnessmark/tables/image"
)

// holes is what one image lacks, as offsets, and of what: "table ign", "checksum main".
type holes struct {
	gaps  []image.Range
	names []string // in the order of the definition's parts
	of    map[string][]image.Range
}

// gapsOf is what an image lacks.
func gapsOf(im *image.Image) *holes {
	h := &holes{of: map[string][]image.Range{}}
	if im != nil {
		h.gaps = image.Join(im.Space.Offsets(im.Gaps()))
	}
	return h
}

// fill looks at the definition only where the image lacks something.
func (h *holes) fill(s *side) {
	if len(h.gaps) == 0 {
		return
	}
	varying := s.lay.VaryingAxes()
	for _, a := range s.lay.Axes {
		if a.Cells != nil && !varying[a] {
			h.cells("axis "+a.ID, a.Cells)
		}
	}
	for _, t := range s.lay.Tables {
		h.cells("table "+t.ID, s.needs(t)...)
	}
	for _, f := range s.lay.Identity {
		h.add("identity "+f.ID, f.Range)
	}
	for _, c := range s.lay.Checksums {
		h.add("checksum "+c.ID, c.Needs(s.im.Bytes)...)
	}
}

// needs is the cells of a table; of one that varies those of its axes, and what says where it lies, or that alone where it
// cannot be told.
func (s *side) needs(t *definition.Table) []*definition.Cells {
	if !t.Varies() {
		return []*definition.Cells{t.Cells}
	}
	l := s.lie(t)
	if l.err != nil {
		return l.told
	}
	needs := append(slices.Clone(l.told), l.Cells)
	for _, a := range l.Axes {
		if a.Cells != nil {
			needs = append(needs, a.Cells)
		}
	}
	return needs
}

func (h *holes) cells(name string, all ...*definition.Cells) { h.add(name, h.cut(all...)...) }

// cut is the bytes of cells that the image lacks.
func (h *holes) cut(all ...*definition.Cells) (ranges []image.Range) {
	if len(h.gaps) == 0 {
		return nil
	}
	for _, c := range all {
		if len(image.Common([]image.Range{c.Extent()}, h.gaps)) > 0 {
			ranges = append(ranges, c.Ranges()...)
		}
	}
	return image.Common(image.Join(ranges), h.gaps)
}

func (h *holes) add(name string, ranges ...image.Range) {
	if lacks := image.Common(image.Join(ranges), h.gaps); len(lacks) > 0 {
		h.of[name] = lacks
		h.names = append(h.names, name)
	}
}

// table is what is lacking of a table and of its stored axes.
func (h *holes) table(t *definition.Table) []image.Range {
	if t == nil || len(h.gaps) == 0 {
		return nil
	}
	all := slices.Clone(h.of["table "+t.ID])
	for _, a := range t.Axes {
		all = append(all, h.of["axis "+a.ID]...)
	}
	return image.Join(all)
}

// held refuses images of which one lacks what the other holds of anything that is compared.
func (s *session) held() error {
	for _, side := range []struct {
		name, other         string
		lacks, others       *holes
		lacksLay, othersLay *definition.Layout
	}{{"candidate", "base", s.cand.holes, s.base.holes, s.candLay, s.lay}, {"base", "candidate", s.base.holes, s.cand.holes, s.lay, s.candLay}} {
		var what []string
		say := func(name string, ranges []image.Range) {
			if len(ranges) > 0 {
				what = append(what, fmt.Sprintf("%s of %s", spans(side.lacksLay, ranges), name))
			}
		}
		switch {
		case !s.two:
			for _, name := range side.lacks.names {
				say(name, image.Minus(side.lacks.of[name], side.others.gaps))
			}
		default: // addresses mean nothing between two definitions: a thing is known whole, or it is not
			for _, t := range side.lacksLay.Tables {
				if o := side.othersLay.ByID[t.ID]; o != nil && len(side.others.table(o)) == 0 {
					say("table "+t.ID, side.lacks.table(t))
				}
			}
			for _, name := range side.lacks.names {
				if describes(side.othersLay, name) && len(side.others.of[name]) == 0 {
					say(name, side.lacks.of[name])
				}
			}
		}
		if len(what) > 0 {
			return fmt.Errorf("%s: it lacks %s, which the %s holds; allowed: of what is compared, the same bytes as the %s has",
				side.name, joined(what), side.other, side.other)
		}
	}
	return nil
}

// describes says whether a definition has an identity field or a checksum of that name.
func describes(lay *definition.Layout, name string) bool {
	return slices.ContainsFunc(lay.Identity, func(f *definition.IdentityField) bool { return "identity "+f.ID == name }) ||
		slices.ContainsFunc(lay.Checksums, func(c *definition.Checksum) bool { return "checksum "+c.ID == name })
}

// spans is ranges of offsets as addresses, the ends exclusive.
func spans(lay *definition.Layout, ranges []image.Range) string {
	var list []string
	for _, r := range lay.Space.Addresses(ranges) {
		list = append(list, fmt.Sprintf("0x%x to 0x%x", r.Start, r.End))
	}
	return listed(list)
}

// findHoles lists what the images lack, and what is not compared for that.
func (s *session) findHoles() {
	s.listHoles("base", s.in.Base)
	s.listHoles("candidate", s.in.Candidate)
	if len(s.cand.holes.gaps) == 0 {
		return
	}
	for _, t := range s.candLay.Tables {
		if lacks := s.cand.holes.table(t); len(lacks) > 0 {
			s.unknown[t.ID] = fmt.Sprintf("%s of it are unknown", spans(s.candLay, lacks))
			s.alone(t.ID, s.unknown[t.ID])
		}
	}
}

func (s *session) listHoles(side string, im *image.Image) {
	if im == nil {
		return
	}
	for _, g := range im.Gaps() {
		s.report.Holes = append(s.report.Holes, &calibrationv1.Hole{
			Side: side, Start: fmt.Sprintf("0x%x", g.Start), End: fmt.Sprintf("0x%x", g.End)})
	}
}

// lost says that an identity field or a checksum cannot be known, and puts it among what was not judged.
func (s *session) lost(rule, id string) bool {
	lacks := s.cand.holes.of[rule+" "+id]
	if len(lacks) > 0 {
		s.report.Unjudged = append(s.report.Unjudged, &calibrationv1.Unjudged{
			Rule: rule, Reason: fmt.Sprintf("%s: %s are unknown", id, spans(s.candLay, lacks))})
	}
	return len(lacks) > 0
}

// unknownChange is a table of which something differs and which cannot be read: nothing of it is
// compared, and it counts as changed all the same.
func (s *session) unknownChange(t *definition.Table) {
	why := s.unknown[t.ID]
	if len(s.cand.holes.table(t)) > 0 {
		why += ", and others differ"
	}
	s.keep(&change{id: t.ID, baseTable: s.lay.ByID[t.ID], candTable: t, incomparable: why})
}
