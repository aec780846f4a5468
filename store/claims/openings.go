package claims

import (
	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/store/record"
	"witnessmark/store/signoff"
)

// open looks at the sealed texts of an action: each given opening is of one and says what such a
// text may be, and each has its opening given, or in the record already. What the action acts on is
// asked for as well.
func (m *making) open(a *recordv1.Action, openings []*recordv1.Opening) error {
	if err := record.CheckOpenings(&record.Opened{Signed: &signoff.Signed{Action: a}}, openings); err != nil {
		return err
	}
	for _, o := range openings {
		m.texts[o.GetCommitment()] = o.GetText()
	}
	return m.src.View(func(s *record.State) error {
		if _, err := s.Target(a); err != nil {
			return err
		}
		erased := false
		if back, ok := m.src.(*Past); ok {
			job := record.JobOf(a)
			if a.GetJob() != nil {
				job = s.Head().GetJobs() + 1
			}
			erased, m.uncertain = back.forgot(job), s.Lacking() > 0
		}
		for _, c := range signoff.Commitments(a) {
			if _, given := m.texts[c.Commitment]; given {
				continue
			}
			if o := s.Opening(c.Commitment); o.GetField() == c.Field {
				m.texts[c.Commitment] = o.GetText()
			} else if !erased {
				return refuse(record.ReasonOpening, c.At, "", "%s: the opening of this sealed text is missing", c.At)
			}
		}
		return nil
	})
}

// text is what a sealed text says, empty for none; where it was erased, Forgotten is set.
func (m *making) text(s *recordv1.Sealed) string {
	text, ok := m.texts[s.GetCommitment()]
	m.Forgotten = m.Forgotten || !ok && s.GetCommitment() != ""
	return text
}
