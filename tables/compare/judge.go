package compare

import (
	"fmt"
	"slices"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/limits"
)

// judge asks the limits, and says which changed tables none of them looked at, be it in a signal.
func (s *session) judge() error {
	lim := s.in.Limits
	if lim == nil {
		return nil
	}
	in := limits.JudgeInput{Layout: s.lay, Candidate: s.cand.table, Job: s.in.Job, Check: s.check, Run: s.in.Run,
		Unknown: func(id string) string { return s.unknown[id] }}
	if s.two {
		in.CandidateLayout = s.candLay
	}
	if s.check {
		in.Changed = s.ids()
	} else {
		in.Base, in.NewGround = s.comparableBase, s.ground
		if s.in.AsFound != nil {
			in.AsFound = s.found.table
		}
		for _, c := range s.changes {
			in.Changed = append(in.Changed, c.id)
		}
	}
	s.cand.expect(len(in.Changed))
	judged, err := limits.Judge(lim, in)
	if err != nil {
		return fmt.Errorf("limits %s: %w", lim.Name, err)
	}
	s.report.Findings = append(s.report.Findings, judged.Findings...)
	s.report.Margins = judged.Margins
	s.report.Unjudged = append(s.report.Unjudged, judged.Unjudged...)
	for _, sig := range s.report.Signals {
		sig.JudgedBy = judged.JudgedBy[sig.Id]
	}
	var why map[string][]string // of those that no rule looked at
	for _, c := range s.changes {
		by := judged.JudgedBy[c.id]
		if c.report != nil {
			c.report.JudgedBy = by
		}
		if !judged.Looked(by) && !judged.Looked(judged.Through[c.id]) {
			if why == nil {
				why = s.whyNot(judged)
			}
			if by = slices.Concat(by, judged.Through[c.id]); len(by) > 0 {
				why[c.id] = append(why[c.id], "what the definition's own author declared alone was asked: "+listed(by))
			}
			s.noLimit(c, why[c.id])
		}
	}
	return nil
}

// whyNot is, for each table, what kept rules from judging it, or a signal that depends on it.
func (s *session) whyNot(judged *limits.Judged) map[string][]string {
	why := map[string][]string{}
	say := func(table, signal, text string) {
		if signal == "" {
			why[table] = append(why[table], text)
			return
		}
		for _, t := range s.candLay.SignalByID[signal].Tables {
			why[t.ID] = append(why[t.ID], "in signal "+signal+": "+text)
		}
	}
	for _, u := range judged.Unjudged {
		say(u.Table, u.Signal, fmt.Sprintf("%s could not: %s", u.Rule, u.Reason))
	}
	for _, u := range judged.Passed {
		say(u.Table, u.Signal, fmt.Sprintf("%s found nothing to look at: %s", u.Rule, u.Reason))
	}
	for _, f := range judged.Findings {
		if f.Rule == "rule-error" {
			say(f.Table, f.Signal, "a rule could not be evaluated: "+f.Detail)
		}
	}
	for _, sig := range s.report.Signals {
		if len(sig.JudgedBy) > 0 {
			say("", sig.Id, fmt.Sprintf("%s did not look it up", joined(sig.JudgedBy)))
		}
	}
	return why
}

// noLimit says of a changed table that no rule looked at it or at a signal that depends on it, and why.
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
