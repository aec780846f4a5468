package compare

import (
	"bytes"

	"google.golang.org/protobuf/proto"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/definition"
	"witnessmark/tables/image"
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
	if other, _ := OtherSoftware(s.lay, im, s.in.Base); other {
		return nil
	}
	s.in.AsFound, s.found = im, sideOf(s.lay, im)
	s.since = newPairing(!s.two)
	if !bytes.Equal(im.Bytes, s.in.Base.Bytes) {
		s.report.AsFound = imageRef(im)
	}
	return nil
}

// OtherSoftware says whether an identity field that is not one vehicle's differs between two images, and
// whether both have any that tells.
func OtherSoftware(lay *definition.Layout, a, b *image.Image) (other, told bool) {
	lacks, too := sideOf(lay, a).holes, sideOf(lay, b).holes
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
	found := s.found.reading(s.lay.ByID[c.id])
	if found.t == nil {
		return nil
	}
	if !c.one {
		d, _ := inUnitsOf(found.decoded(), c.cand(), s.in.AsFound.Bytes) // the base's converted
		found = read(d)
	}
	return s.since.between(found, c.is)
}

// fromAsFound reports how far each changed table is from the image as found.
func (s *session) fromAsFound() {
	if s.report.AsFound == nil {
		return
	}
	for _, c := range s.changes {
		if !c.comparable() {
			continue
		}
		c.found = s.sinceFound(c)
		if c.found == nil {
			s.alone(c.id, "how far it is from the image as found is not known, which "+s.found.lacks(s.lay.ByID[c.id]))
			continue
		}
		out := &calibrationv1.SinceAsFound{Changed: uint32(len(c.found.cells))}
		if d, any := c.found.deltas(); any {
			out.Min, out.Max = proto.Float64(d.min), proto.Float64(d.max)
		}
		c.report.FromAsFound = out
	}
}
