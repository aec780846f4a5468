package compare

import (
	"bytes"
	"fmt"

	"google.golang.org/protobuf/proto"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/checksum"
	"witnessmark/tables/definition"
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

// checksums verifies every stored sum. equal says that the images are, where both are known, which saves half the work.
func (s *session) checksums(equal bool) error {
	wrong := map[bool][]string{} // by whether it is restamped on write
	for _, c := range s.candLay.Checksums {
		if s.lost("checksum", c.ID) {
			continue
		}
		stored, computed, err := sum(c, s.in.Candidate.Bytes)
		if err != nil {
			return err
		}
		r := &calibrationv1.ChecksumResult{Id: c.ID, CandidateOk: stored == computed, Stored: hexOf(c, stored), Computed: hexOf(c, computed)}
		switch b := s.baseSum(c.ID); {
		case b == nil:
		case equal:
			r.BaseOk = proto.Bool(r.CandidateOk)
		default:
			have, want, err := sum(b, s.in.Base.Bytes)
			if err != nil {
				return err
			}
			r.BaseOk = proto.Bool(have == want)
		}
		s.report.Checksums = append(s.report.Checksums, r)
		if !r.CandidateOk {
			wrong[c.Restamped] = append(wrong[c.Restamped], fmt.Sprintf("%s holds %s, computed is %s", c.ID, r.Stored, r.Computed))
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
	return nil
}

func (s *session) baseSum(id string) *definition.Checksum {
	if s.check {
		return nil
	}
	for _, c := range s.lay.Checksums {
		if c.ID == id {
			return c
		}
	}
	return nil
}

// sum is what an image stores and what its bytes give.
func sum(c *definition.Checksum, bytes []byte) (stored, computed uint64, err error) {
	alg, ok := checksum.Lookup(c.Algorithm)
	if !ok {
		return 0, 0, fmt.Errorf("checksum %s: unknown algorithm %q", c.ID, c.Algorithm)
	}
	var parts [][]byte
	for _, r := range c.Over {
		parts = append(parts, bytes[r.Start:r.End])
	}
	return c.Stored.Bits(bytes, 0, 0), alg.Sum(parts...), nil
}

func hexOf(c *definition.Checksum, v uint64) string {
	return fmt.Sprintf("0x%0*x", (c.Stored.Width+3)/4, v)
}
