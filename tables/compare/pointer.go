package compare

import (
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

// leadsOutside is the finding on a table that does.
func (s *session) leadsOutside(t *definition.Table) {
	if _, err := s.cand.lies(t); err != nil && len(s.cand.holes.table(t)) == 0 {
		s.find(&calibrationv1.Finding{Rule: pointerRule, Severity: "danger", Table: t.ID, Count: 1, Detail: problemOf(err)})
	}
}

// accountVarying claims what a table lies on in either image, and what says where that is.
func (s *session) accountVarying(o *owners, t *definition.Table) {
	turned := false
	for _, c := range t.Directions() {
		turned = o.claimCells(c, ofTable) || turned
	}
	touched := turned
	was, errBase := s.base.lies(t)
	is, errCand := s.cand.lies(t)
	if errBase == nil {
		touched = o.claimTable(was) || touched
	}
	if errCand == nil {
		touched = o.claimTable(is) || touched
	}
	if touched {
		s.touched(t)
	}
	if turned {
		s.leadsOutside(t)
	}
}
