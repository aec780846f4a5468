package compare

import (
	"errors"
	"fmt"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/definition"
)

const pointerRule = "pointer"

// astray notes the tables that pointers or counts of the candidate lead outside of it: nothing of them can be read.
func (s *session) astray() {
	for _, t := range s.candLay.Varying {
		if _, err := s.cand.lies(t); err != nil && s.unknown[t.ID] == "" {
			s.unknown[t.ID] = problemOf(err)
			s.alone(t.ID, s.unknown[t.ID])
		}
	}
}

// leadsOutside finds, of a table whose pointers and counts are known, that one of them does.
func (s *session) leadsOutside(t *definition.Table) bool {
	_, err := s.cand.lies(t)
	if err == nil || errors.Is(err, definition.ErrUnknown) {
		return false
	}
	s.find(&calibrationv1.Finding{Rule: pointerRule, Severity: "danger", Table: t.ID, Count: 1, Detail: problemOf(err)})
	return true
}

// accountVarying claims what a table lies on in either image, and what says where that is.
func (s *session) accountVarying(o *owners, t *definition.Table) {
	turned, touched := false, false
	for _, side := range []*side{s.cand, s.base} {
		l := side.lie(t)
		for _, c := range l.told {
			turned = o.claimCells(c, ofTable) || turned
		}
		if l.err == nil {
			touched = o.claimTable(l.Table, side.im.Bytes) || touched
		}
		if !turned { // it lies in the base where it lies in the candidate
			break
		}
	}
	if touched || turned {
		s.touched(t)
	}
	if turned && !s.leadsOutside(t) {
		s.pointed(t)
	}
}

// pointed finds pointers of a table that changed.
func (s *session) pointed(t *definition.Table) {
	f := &calibrationv1.Finding{Rule: pointerRule, Severity: "warning", Table: t.ID}
	var what []string
	for _, p := range t.Pointers() {
		was, is := p.Bits(s.in.Base.Bytes, 0, 0), p.Bits(s.in.Candidate.Bytes, 0, 0)
		if was == is {
			continue
		}
		f.Count++
		text := fmt.Sprintf("its pointer at %s leads to 0x%x, where it led to 0x%x", address(s.lay, p.Offset), is, was)
		from, inside := s.lay.Space.Offset(was)
		to, _ := s.lay.Space.Offset(is)
		if old, now := content(s.lay, from), content(s.lay, to); inside && old != now {
			text += fmt.Sprintf(", in %s instead of %s", now, old)
		}
		what = append(what, text)
	}
	if f.Count > 0 {
		f.Detail = joined(what)
		s.find(f)
	}
}
