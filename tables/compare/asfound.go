package compare

import (
	"bytes"

	"google.golang.org/protobuf/proto"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/definition"
	"witnessmark/tables/image"
	"witnessmark/tables/surface"
)

// asFound takes in what the car first came with, unless it is another software. Where it is the base, the rules go by it, and
// there is nothing to report.
func (s *session) asFound() error {
	im := s.in.AsFound
	s.in.AsFound = nil
	if im == nil {
		return nil
	}
	if err := sized("as found", im, s.lay); err != nil {
		return err
	}
	s.foundHoles = holesOf(s.lay, im)
	if other, _ := OtherSoftware(s.lay, im, s.in.Base); other {
		return nil
	}
	s.in.AsFound = im
	if !bytes.Equal(im.Bytes, s.in.Base.Bytes) {
		s.report.AsFound = imageRef(im)
	}
	return nil
}

// OtherSoftware says whether an identity field that is not one vehicle's differs between two images, and
// whether both have any that tells.
func OtherSoftware(lay *definition.Layout, a, b *image.Image) (other, told bool) {
	lacks, too := holesOf(lay, a), holesOf(lay, b)
	for _, f := range lay.Identity {
		name := "identity " + f.ID
		if f.Vehicle || len(lacks.of[name])+len(too.of[name]) > 0 {
			continue
		}
		told = true
		other = other || !bytes.Equal(a.Bytes[f.Range.Start:f.Range.End], b.Bytes[f.Range.Start:f.Range.End])
	}
	return other, told
}

// sinceFound is a changed table as it changed from the image as found; nil where that says nothing of it.
func (s *session) sinceFound(c *change) *change {
	if c.base == nil {
		return nil
	}
	found := s.foundOf(c.id)
	switch {
	case found == nil:
		return nil
	case c.baseTable == c.candTable:
		return between(found, c.cand)
	case found.Table != c.baseTable: // it is in the base's units
		found = surface.Decode(c.baseTable, s.in.AsFound.Bytes)
	}
	since, _, _ := aligned(c.id, found, c.cand)
	return since
}

// fromAsFound reports how far each changed table is from the image as found.
func (s *session) fromAsFound() {
	if s.report.AsFound == nil {
		return
	}
	for _, c := range s.changes {
		if c.base == nil {
			continue
		}
		c.found = s.sinceFound(c)
		if c.found == nil {
			lacks := s.foundHoles.table(s.lay.ByID[c.id])
			s.alone(c.id, "how far it is from the image as found is not known, which lacks "+spans(s.lay, lacks)+" of it")
			continue
		}
		out := &calibrationv1.SinceAsFound{Changed: uint32(len(c.found.cells))}
		if c.found.numeric() {
			d := c.found.deltas()
			out.Min, out.Max = proto.Float64(d.min), proto.Float64(d.max)
		}
		c.report.FromAsFound = out
	}
}
