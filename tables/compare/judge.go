package compare

import (
	"fmt"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/limits"
)

// judge asks the limits, and says which changed tables none of them looked at.
func (s *session) judge() error {
	lim := s.in.Limits
	if lim == nil {
		return nil
	}
	in := limits.JudgeInput{Layout: s.lay, Candidate: s.candOf, Job: s.in.Job, Check: s.check, Run: s.in.Run,
		Unknown: func(id string) string { return s.unknown[id] }}
	if s.two {
		in.CandidateLayout = s.candLay
	}
	if s.check {
		in.Changed = s.ids()
	} else {
		in.Base, in.NewGround = s.comparableBase, s.ground
		if s.in.AsFound != nil {
			in.AsFound = s.foundOf
		}
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
	why := whyNot(judged)
	for _, c := range s.changes {
		by := judged.JudgedBy[c.id]
		if c.report != nil {
			c.report.JudgedBy = by
		}
		if len(by) == 0 {
			s.noLimit(c, why[c.id])
		}
	}
	return nil
}

// whyNot is, for each table, what kept rules from judging it.
func whyNot(judged *limits.Judged) map[string][]string {
	why := map[string][]string{}
	for _, u := range judged.Unjudged {
		why[u.Table] = append(why[u.Table], fmt.Sprintf("%s could not: %s", u.Rule, u.Reason))
	}
	for _, u := range judged.Passed {
		why[u.Table] = append(why[u.Table], fmt.Sprintf("%s found nothing to look at: %s", u.Rule, u.Reason))
	}
	for _, f := range judged.Findings {
		if f.Rule == "rule-error" {
			why[f.Table] = append(why[f.Table], "a rule could not be evaluated: "+f.Detail)
		}
	}
	return why
}

// noLimit says of a changed table that no rule looked at it, and why.
func (s *session) noLimit(c *change, why []string) {
	if c.incomparable != "" {
		why = append(why, c.incomparable)
	}
	if len(why) == 0 {
		why = []string{fmt.Sprintf("no rule of %s selects it", s.in.Limits.Name)}
	}
	s.find(&calibrationv1.Finding{Rule: "no-limit", Severity: "caution", Table: c.id,
		Count: max(c.report.GetChanged(), 1), Detail: joined(why)})
}
