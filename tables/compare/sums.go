package compare

import (
	"bytes"
	"fmt"
	"slices"

	"google.golang.org/protobuf/proto"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/definition"
	"witnessmark/tables/image"
)

// identity compares what the images say they are. Private content is neither printed nor hinted at.
func (s *session) identity() {
	var wrong []string
	for _, f := range s.candLay.Identity {
		if s.lost("identity", f.ID) {
			continue
		}
		r := &calibrationv1.IdentityResult{Id: f.ID, Match: true}
		cand := f.Text(s.in.Candidate.Bytes)
		if f.Expect != nil && cand != *f.Expect {
			r.Match = false
			wrong = append(wrong, fmt.Sprintf("%s is not what the definition expects", f.ID))
		}
		base, differs := s.baseField(f)
		if differs {
			r.Match = false
			wrong = append(wrong, fmt.Sprintf("%s differs between the images", f.ID))
		}
		if !f.Private && (base == nil || !base.Private) { // one definition's word for it is enough
			r.Candidate, r.Expect = proto.String(cand), f.Expect
			if base != nil {
				r.Base = proto.String(base.Text(s.in.Base.Bytes))
			}
		}
		s.report.Identity = append(s.report.Identity, r)
	}
	n := 0
	for _, r := range s.report.Identity {
		if !r.Match {
			n++
		}
	}
	if n > 0 {
		s.find(&calibrationv1.Finding{Rule: "identity", Severity: "danger", Count: uint32(n), Detail: joined(wrong)})
	}
}

// baseField is the base's field of the same id and whether it holds something else; nil in a check,
// or where the base's definition has no such field. Of one definition every byte counts, of two
// the text does, since the lengths may not be the same.
func (s *session) baseField(f *definition.IdentityField) (*definition.IdentityField, bool) {
	if s.check {
		return nil, false
	}
	if !s.two {
		a := s.in.Base.Bytes[f.Range.Start:f.Range.End]
		return f, !bytes.Equal(a, s.in.Candidate.Bytes[f.Range.Start:f.Range.End])
	}
	for _, b := range s.lay.Identity {
		if b.ID == f.ID {
			return b, b.Text(s.in.Base.Bytes) != f.Text(s.in.Candidate.Bytes)
		}
	}
	return nil, false
}

// sum is a checksum of one image, as it is stored and as it is right.
type sum struct {
	id               string
	restamped        bool
	stored, computed string
}

func (s *sum) ok() bool { return s.stored == s.computed }

// sumsOf verifies a checksum, or those that the image lists for it, once for an image.
func sumsOf(im *image.Image, c *definition.Checksum) []sum {
	return image.Known(im, c, func(b []byte) (all []sum) {
		for _, one := range c.In(b) {
			stored, computed := one.Verify(b)
			all = append(all, sum{one.ID, one.Restamped, stored, computed})
		}
		return all
	})
}

// checksums verifies every stored sum. equal says that the images are, where both are known, which saves half the work.
func (s *session) checksums(equal bool) {
	wrong := map[bool][]string{} // by whether it is restamped on write
	for _, listed := range s.candLay.Checksums {
		if s.lost("checksum", listed.ID) {
			continue
		}
		sums := sumsOf(s.in.Candidate, listed)
		base := sums
		if !equal {
			base = s.baseSums(listed.ID)
		}
		for i := range sums {
			c := &sums[i]
			r := &calibrationv1.ChecksumResult{Id: c.id, CandidateOk: c.ok(), Stored: c.stored, Computed: c.computed}
			if i < len(base) && base[i].id == c.id {
				r.BaseOk = proto.Bool(base[i].ok())
			}
			s.report.Checksums = append(s.report.Checksums, r)
			if !r.CandidateOk {
				wrong[c.restamped] = append(wrong[c.restamped], fmt.Sprintf("%s holds %s, computed is %s", c.id, c.stored, c.computed))
			}
		}
	}
	for _, restamped := range []bool{false, true} {
		list := wrong[restamped]
		if len(list) == 0 {
			continue
		}
		f := &calibrationv1.Finding{Rule: "checksum", Severity: "warning", Count: uint32(len(list)), Detail: joined(list)}
		if restamped {
			f.Severity = "notice"
			f.Detail += " (recomputed by the tool that writes the controller)"
		}
		s.find(f)
	}
}

// baseSums is the base's sums under an id, as they are in it; none in a check.
func (s *session) baseSums(id string) []sum {
	i := slices.IndexFunc(s.lay.Checksums, func(c *definition.Checksum) bool { return c.ID == id })
	if s.check || i < 0 {
		return nil
	}
	return sumsOf(s.in.Base, s.lay.Checksums[i])
}
