package compare

import (
	"fmt"
	"slices"
	"strings"

	"google.golang.org/protobuf/proto"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
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
	base, cand   map[string]*surface.Decoded
}

// change is one table that differs between the images.
type change struct {
	id                      string
	baseTable, candTable    *definition.Table
	xMoved, yMoved          bool // stored or aligned breakpoints differ
	base, cand              *surface.Decoded
	cells                   []cell // changed ones, row by row
	joint                   *joint // nil where breakpoints stand, or cannot be interpolated
	report                  *calibrationv1.TableReport
	incomparable            string // why nothing could be compared; empty normally. base is nil then
	movedXPoints, movedYPts []int  // candidate indices of breakpoints that changed
}

// cell is a changed cell: its index in the candidate and in the base.
type cell struct{ row, col, baseRow, baseCol int }

// open checks that the input fits together.
func open(in Input, check bool) (*session, error) {
	s := &session{in: in, check: check, lay: in.Layout, candLay: in.CandidateLayout,
		byID: map[string]*change{}, base: map[string]*surface.Decoded{}, cand: map[string]*surface.Decoded{}}
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
	case im.Start != lay.Start:
		return fmt.Errorf("%s: image begins at 0x%x, the definition says 0x%x", name, im.Start, lay.Start)
	}
	return nil
}

func imageRef(im *image.Image) *calibrationv1.ImageRef {
	return &calibrationv1.ImageRef{Sha256: string(im.SHA256()), Size: uint32(len(im.Bytes))}
}

// meant checks the tables that the author meant to change, and reports them in definition order.
func (s *session) meant() error {
	if !s.in.MeantGiven {
		return nil
	}
	want := map[string]bool{}
	for _, id := range s.in.Meant {
		if s.lay.ByID[id] == nil && s.candLay.ByID[id] == nil {
			return fmt.Errorf("meant: the definition %s has no table %q; %s", s.candLay.Name, id, allowed(s.candLay, id))
		}
		want[id] = true
	}
	s.report.Meant = &calibrationv1.Meant{}
	for _, id := range s.ids() {
		if want[id] {
			s.report.Meant.Tables = append(s.report.Meant.Tables, id)
		}
	}
	return nil
}

// ids is every table id: the base's in definition order, then those that only the candidate has.
func (s *session) ids() []string {
	var ids []string
	for _, t := range s.lay.Tables {
		ids = append(ids, t.ID)
	}
	if s.two {
		for _, t := range s.candLay.Tables {
			if s.lay.ByID[t.ID] == nil {
				ids = append(ids, t.ID)
			}
		}
	}
	return ids
}

// allowed names the tables that a mistyped id may have meant.
func allowed(lay *definition.Layout, id string) string {
	type near struct {
		id   string
		away int
	}
	var all []near
	for _, t := range lay.Tables {
		all = append(all, near{t.ID, distance(id, t.ID)})
	}
	slices.SortStableFunc(all, func(a, b near) int { return a.away - b.away })
	var names []string
	for _, n := range all[:min(len(all), 5)] {
		names = append(names, n.id)
	}
	switch {
	case len(all) == 0:
		return "it has no tables"
	case len(all) > len(names):
		return fmt.Sprintf("the nearest of its %d are %s", len(all), strings.Join(names, ", "))
	}
	return "allowed are " + strings.Join(names, ", ")
}

// distance is the number of bytes to insert, remove or replace to make b of a. Of a long text only
// the first 64 bytes count: ids are short, and a mistaken argument may be anything.
func distance(a, b string) int {
	a, b = a[:min(len(a), 64)], b[:min(len(b), 64)]
	row := make([]int, len(b)+1)
	for j := range row {
		row[j] = j
	}
	for i := range len(a) {
		diagonal := row[0]
		row[0] = i + 1
		for j := range len(b) {
			cost := diagonal
			if a[i] != b[j] {
				cost++
			}
			diagonal = row[j+1]
			row[j+1] = min(cost, row[j]+1, row[j+1]+1)
		}
	}
	return row[len(b)]
}

// baseOf and candOf decode a table once; nil where that side lacks it.
func (s *session) baseOf(id string) *surface.Decoded {
	return cached(s.base, s.lay, id, s.in.Base.Bytes)
}

func (s *session) candOf(id string) *surface.Decoded {
	return cached(s.cand, s.candLay, id, s.in.Candidate.Bytes)
}

// comparableBase is the base's table for the rules; nil also where the two definitions mean different
// things by one id, so that nothing is read as what it is not.
func (s *session) comparableBase(id string) *surface.Decoded {
	if c := s.byID[id]; c != nil && c.incomparable != "" {
		return nil
	}
	return s.baseOf(id)
}

func cached(m map[string]*surface.Decoded, lay *definition.Layout, id string, bytes []byte) *surface.Decoded {
	if d, ok := m[id]; ok {
		return d
	}
	t := lay.ByID[id]
	if t == nil {
		return nil
	}
	d := surface.Decode(t, bytes)
	m[id] = d
	return d
}

// gaps lists what an image lacks.
func (s *session) gaps(side string, im *image.Image) {
	for _, g := range im.Gaps() {
		s.report.Holes = append(s.report.Holes, &calibrationv1.Hole{
			Side: side, Start: fmt.Sprintf("0x%x", g.Start), End: fmt.Sprintf("0x%x", g.End)})
	}
}

func address(lay *definition.Layout, offset uint64) string {
	return fmt.Sprintf("0x%x", lay.Start+offset)
}

// finish judges, adds the rules that are always on, sorts and computes the verdict.
func (s *session) finish() (*calibrationv1.Report, error) {
	for _, c := range s.changes {
		s.report.Tables = append(s.report.Tables, c.report)
	}
	s.overlaps()
	s.notFinite()
	s.axisOrder()
	s.mirrors()
	s.meaningMoved()
	s.copies()
	s.notMeant()
	if err := s.judge(); err != nil {
		return nil, err
	}
	s.carried()
	order(s.report.Findings, s.candLay)
	s.report.Verdict = verdict(s.report.Findings)
	return s.report, nil
}

// judge asks the limits, and says which changed tables none of them looked at.
func (s *session) judge() error {
	lim := s.in.Limits
	if lim == nil {
		return nil
	}
	in := limits.JudgeInput{Layout: s.lay, Candidate: s.candOf, Job: s.in.Job, Check: s.check, Run: s.in.Run}
	if s.two {
		in.CandidateLayout = s.candLay
	}
	if s.check {
		in.Changed = s.ids()
	} else {
		in.Base = s.comparableBase
		for _, c := range s.changes {
			in.Changed = append(in.Changed, c.id)
		}
	}
	judged, err := limits.Judge(lim, in)
	if err != nil {
		return fmt.Errorf("limits %s: %w", lim.Name, err)
	}
	s.report.Findings = append(s.report.Findings, judged.Findings...)
	s.report.Margins = judged.Margins
	s.report.Unjudged = append(s.report.Unjudged, judged.Unjudged...)
	for _, c := range s.changes {
		c.report.JudgedBy = judged.JudgedBy[c.id]
		if len(c.report.JudgedBy) == 0 {
			s.noLimit(c, judged)
		}
	}
	return nil
}
