package compare

import (
	"fmt"
	"slices"

	"google.golang.org/protobuf/proto"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/arena"
	"witnessmark/tables/definition"
	"witnessmark/tables/image"
	"witnessmark/tables/limits"
	"witnessmark/tables/surface"
)

// session is one report in the making.
type session struct {
	in           Input
	check        bool // one image, no base
	two          bool // the candidate has a definition of its own
	lay, candLay *definition.Layout
	report       *calibrationv1.Report
	changes      []*change // in definition order
	byID         map[string]*change
	base, cand   *side
	found        *side             // of the image as found
	pairs, since *pairing          // of the candidate with the base, and with the image as found
	unknown      map[string]string // tables of the candidate that cannot be read, and why

	ground []limits.NewGround

	reports arena.Of[calibrationv1.TableReport]
	deltas  arena.Of[calibrationv1.Delta]
}

// open checks that the input fits together.
func open(in Input, check bool) (*session, error) {
	s := &session{in: in, check: check, lay: in.Layout, candLay: in.CandidateLayout,
		byID: map[string]*change{}, unknown: map[string]string{}}
	if s.candLay == nil || s.candLay == s.lay || s.candLay.SHA256 == s.lay.SHA256 && s.lay.SHA256 != "" {
		s.candLay = s.lay
	}
	s.two = s.candLay != s.lay
	if !check {
		if err := sized("base", in.Base, s.lay); err != nil {
			return nil, err
		}
	}
	if err := sized("candidate", in.Candidate, s.candLay); err != nil {
		return nil, err
	}
	s.base, s.cand, s.found = sideOf(s.lay, in.Base), sideOf(s.candLay, in.Candidate), sideOf(s.lay, nil)
	s.pairs = newPairing(!s.two)
	if !check {
		if err := s.held(); err != nil {
			return nil, err
		}
	}
	s.report = &calibrationv1.Report{
		Semantics:  Semantics,
		Definition: &calibrationv1.DocumentRef{Name: s.lay.Name, Sha256: s.lay.SHA256},
		Bytes:      &calibrationv1.ByteCount{},
	}
	if s.two {
		s.report.DefinitionCandidate = &calibrationv1.DocumentRef{Name: s.candLay.Name, Sha256: s.candLay.SHA256}
	}
	if in.Job != nil {
		s.report.Job = proto.CloneOf(in.Job)
	}
	if in.Run != nil {
		s.report.Run = &calibrationv1.RunRef{Sha256: in.Run.SHA256}
	}
	if in.Limits == nil {
		return s, nil
	}
	if err := in.Limits.Check(s.candLay); err != nil {
		return nil, fmt.Errorf("limits %s do not fit definition %s: %w", in.Limits.Name, s.candLay.Name, err)
	}
	s.report.Limits = &calibrationv1.DocumentRef{Name: in.Limits.Name, Sha256: in.Limits.SHA256}
	return s, nil
}

func sized(name string, im *image.Image, lay *definition.Layout) error {
	switch {
	case im == nil:
		return fmt.Errorf("%s: the image is missing", name)
	case uint64(len(im.Bytes)) != lay.Size:
		return fmt.Errorf("%s: image is %d bytes, the definition says %d", name, len(im.Bytes), lay.Size)
	case !slices.Equal(im.Space, lay.Space):
		return fmt.Errorf("%s: image is of %v, the definition's of %v", name, im.Space, lay.Space)
	}
	return nil
}

func imageRef(im *image.Image) *calibrationv1.ImageRef {
	return &calibrationv1.ImageRef{Sha256: string(im.SHA256()), Size: uint32(len(im.Bytes))}
}

// comparableBase is the base's table for the rules; nil also where the two definitions mean different
// things by one id, so that nothing is read as what it is not.
func (s *session) comparableBase(id string) *surface.Decoded {
	if c := s.byID[id]; c != nil && c.incomparable != "" {
		return nil
	}
	return s.base.table(id)
}

func address(lay *definition.Layout, offset uint64) string {
	return fmt.Sprintf("0x%x", lay.Space.Address(offset))
}

// finish judges, adds the rules that are always on, sorts and computes the verdict.
func (s *session) finish() error {
	for _, c := range s.changes {
		if c.report != nil {
			s.report.Tables = append(s.report.Tables, c.report)
		}
	}
	s.fromAsFound()
	s.overlaps()
	s.notFinite()
	s.axisOrder()
	s.mirrors()
	s.meaningMoved()
	s.protectionWeakened()
	s.switchedOff()
	s.newGround()
	s.copies()
	s.notMeant()
	s.signals()
	if err := s.judge(); err != nil {
		return err
	}
	s.carried()
	s.report.Findings = oneOfEach(s.report.Findings)
	order(s.report.Findings, s.candLay)
	s.report.Verdict = verdict(s.report.Findings)
	return nil
}
