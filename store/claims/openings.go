package claims

import (
	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/store/record"
	"witnessmark/store/signoff"
)

// open looks at the sealed texts of an action: each given opening is of one and says what such a
// text may be, and each has its opening given, or in the record already. What the action acts on is
// asked for first.
func (m *making) open(a *recordv1.Action, openings []*recordv1.Opening) error {
	if err := record.CheckOpenings(&record.Opened{Signed: &signoff.Signed{Action: a}}, openings); err != nil {
		return err
	}
	m.texts = map[string]string{}
	for _, o := range openings {
		if err := record.CheckOpened(o); err != nil {
			return err
		}
		m.texts[o.GetCommitment()] = o.GetText()
	}
	return m.src.View(func(s *record.State) error {
		if _, err := s.Target(a); err != nil {
			return err
		}
		erased := m.erased(s, a)
		for _, c := range signoff.Commitments(a) {
			if _, given := m.texts[c.Commitment]; given {
				continue
			}
			o := s.Opening(c.Commitment)
			switch {
			case o.GetField() == c.Field:
				m.texts[c.Commitment] = o.GetText()
			case !erased || o != nil:
				return refuse(record.ReasonOpening, c.At, "", "%s: the opening of this sealed text is missing", c.At)
			}
		}
		return nil
	})
}

// erased says whether the texts of the action's job may be missing, and remembers whether those of
// other jobs may: some were neither handed on nor, so far, erased.
func (m *making) erased(s *record.State, a *recordv1.Action) bool {
	back, ok := m.src.(Forgetful)
	if !ok {
		return false
	}
	m.forgot = s.Lacking() > 0
	job := record.JobOf(a)
	if a.GetJob() != nil {
		job = s.Head().GetJobs() + 1
	}
	return back.Erased(job)
}
