package claims

import (
	"maps"
	"slices"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/store/record"
)

// definition: the file compiles, has that name, and fits every limits file that names it.
func (m *making) definition(a *recordv1.AddDefinition) (err error) {
	if m.Layout, err = m.c.Layout(m.src, a.GetRevision()); err != nil {
		return err
	}
	a.Revision.Name = m.Layout.Name
	all := map[string]*recordv1.Revision{}
	err = m.src.View(func(s *record.State) error {
		s.Revisions(record.Limits, "", 0, func(f *recordv1.CatalogFile) bool {
			all[f.GetName()] = &recordv1.Revision{Name: f.GetName(), Sha256: f.GetSha256()} // the newest comes last
			return true
		})
		return nil
	})
	for _, name := range slices.Sorted(maps.Keys(all)) {
		lim, e := m.c.limitsFile(m.src, all[name])
		if e == nil && slices.Contains(lim.Source.GetAppliesTo(), m.Layout.Name) {
			_, e = m.c.compile(m.src, a.GetRevision(), all[name])
		}
		if e != nil {
			return e
		}
	}
	if err == nil {
		a.JudgedWorse, err = m.judgedWorse(record.Definitions, a.GetRevision())
	}
	return err
}

// limits: the file parses, has that name, and fits every definition that it names and that is here.
func (m *making) limits(a *recordv1.AddLimits) (err error) {
	if m.Limits, err = m.c.limitsFile(m.src, a.GetRevision()); err != nil {
		return err
	}
	a.Revision.Name = m.Limits.Name
	var defs []*recordv1.Revision
	err = m.src.View(func(s *record.State) error {
		for _, name := range m.Limits.Source.GetAppliesTo() {
			if def := newest(s, record.Definitions, name); def.GetSha256() != "" {
				defs = append(defs, def)
			}
		}
		return nil
	})
	for _, def := range defs {
		if _, e := m.c.compile(m.src, def, a.GetRevision()); e != nil {
			return e
		}
	}
	if err == nil {
		a.JudgedWorse, err = m.judgedWorse(record.Limits, a.GetRevision())
	}
	return err
}

// judgedWorse lists what waits and what was released in open jobs that a new revision judges worse
// than the judgement that stands.
func (m *making) judgedWorse(kind string, rev *recordv1.Revision) (out []*recordv1.JudgedWorse, err error) {
	type by struct{ definition, limits *recordv1.Revision }
	var jobs []*recordv1.Job
	var rules []by
	err = m.src.View(func(s *record.State) error {
		s.OpenJobs(func(j *recordv1.Job) bool {
			r := by{newest(s, record.Definitions, j.GetDefinition().GetName()), newest(s, record.Limits, j.GetLimits().GetName())}
			its := &r.definition
			if kind == record.Limits {
				its = &r.limits
			}
			if (*its).GetName() == rev.GetName() && len(j.GetSubmissions()) > 0 {
				*its = rev
				jobs, rules = append(jobs, j), append(rules, r)
			}
			return true
		})
		return nil
	})
	for i, j := range jobs {
		m := m.c.making(m.src)
		if m.Rules, err = m.c.compile(m.src, rules[i].definition, rules[i].limits); err == nil {
			out, err = m.worseIn(j, out)
		}
		if err != nil {
			return nil, err
		}
	}
	return out, err
}

func (m *making) worseIn(j *recordv1.Job, out []*recordv1.JudgedWorse) ([]*recordv1.JudgedWorse, error) {
	for _, sub := range j.GetSubmissions() {
		stands := sub.GetJudgement()
		if record.IsRelease(sub) {
			stands = sub.GetSignOff().GetJudgement()
		} else if sub.GetState() != record.Waiting {
			continue
		}
		now, err := m.again(j, sub.GetNumber())
		if err != nil {
			return nil, err
		}
		if record.Worse(stands, now) != "" {
			out = append(out, &recordv1.JudgedWorse{Job: j.GetNumber(), Submission: sub.GetNumber(), Verdict: now.GetVerdict(), Warnings: now.GetWarnings()})
		}
	}
	return out, nil
}
