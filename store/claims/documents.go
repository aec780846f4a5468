package claims

import (
	"cmp"
	"fmt"
	"maps"
	"slices"
	"strings"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/store/record"
)

// definition: the file compiles, has that name, and fits every limits file that names it or that an open
// job of it is judged by.
func (m *making) definition(a *recordv1.AddDefinition) (err error) {
	if m.Layout, err = m.c.Layout(m.src, a.GetRevision()); err != nil {
		return err
	}
	a.Revision.Name = m.Layout.Name
	all, used := map[string]*recordv1.Revision{}, map[string]bool{}
	err = m.src.View(func(s *record.State) error {
		s.Revisions(record.Limits, "", 0, func(f *recordv1.CatalogFile) bool {
			all[f.GetName()] = &recordv1.Revision{Name: f.GetName(), Sha256: f.GetSha256()} // the newest comes last
			return true
		})
		s.OpenJobs(func(j *recordv1.Job) bool {
			used[j.GetLimits().GetName()] = used[j.GetLimits().GetName()] || j.GetDefinition().GetName() == m.Layout.Name
			return true
		})
		return nil
	})
	for _, name := range slices.Sorted(maps.Keys(all)) {
		lim, err := m.c.limitsFile(m.src, all[name])
		if err == nil && (used[name] || slices.Contains(lim.Source.GetAppliesTo(), m.Layout.Name)) {
			_, err = m.c.compile(m.src, a.GetRevision(), all[name])
		}
		if err != nil {
			return err
		}
	}
	if err == nil {
		a.JudgedWorse, err = m.judgedWorse(a.GetRevision())
	}
	return err
}

// limits: the file parses, has that name, and fits every definition that it names, all of which are here,
// and those of open jobs that are judged by it.
func (m *making) limits(a *recordv1.AddLimits) (err error) {
	if m.Limits, err = m.c.limitsFile(m.src, a.GetRevision()); err != nil {
		return err
	}
	a.Revision.Name = m.Limits.Name
	named := slices.Clone(m.Limits.Source.GetAppliesTo())
	var all []*recordv1.Revision
	err = m.src.View(func(s *record.State) error {
		s.OpenJobs(func(j *recordv1.Job) bool {
			if j.GetLimits().GetName() == m.Limits.Name {
				named = append(named, j.GetDefinition().GetName())
			}
			return true
		})
		for i, name := range named {
			def := newest(s, record.Definitions, name)
			if def.GetSha256() == "" {
				return refuse(record.ReasonNotFound, fmt.Sprintf("applies_to[%d]", i), definitionNames(s), "limits %s: applies_to: there is no definition called %.100q; allowed: %s", m.Limits.Name, name, definitionNames(s))
			}
			if !slices.ContainsFunc(all, func(d *recordv1.Revision) bool { return d.GetName() == name }) {
				all = append(all, def)
			}
		}
		return nil
	})
	if err != nil {
		return err
	}
	for _, def := range all {
		if _, err := m.c.compile(m.src, def, a.GetRevision()); err != nil {
			return err
		}
	}
	a.JudgedWorse, err = m.judgedWorse(a.GetRevision())
	return err
}

// definitionNames lists those that are here.
func definitionNames(s *record.State) string {
	var names []string
	s.Revisions(record.Definitions, "", 0, func(f *recordv1.CatalogFile) bool {
		if len(names) == 0 || names[len(names)-1] != f.GetName() {
			names = append(names, f.GetName())
		}
		return len(names) < 20
	})
	return cmp.Or(strings.Join(names, ", "), "none, until a definition is added")
}

// judgedWorse lists what waits and what was released in open jobs that the definition or the limits
// of the action judge worse than the judgement that stands.
func (m *making) judgedWorse(rev *recordv1.Revision) (out []*recordv1.JudgedWorse, err error) {
	var jobs []uint32
	err = m.src.View(func(s *record.State) error {
		s.OpenJobs(func(j *recordv1.Job) bool {
			uses := m.Layout != nil && j.GetDefinition().GetName() == rev.GetName() || m.Limits != nil && j.GetLimits().GetName() == rev.GetName()
			if uses && len(j.GetSubmissions()) > 0 {
				jobs = append(jobs, j.GetNumber())
			}
			return true
		})
		return nil
	})
	for _, n := range jobs {
		j, def, lim, err := newestOf(m.src, n)
		if m.Layout != nil {
			def = rev
		} else {
			lim = rev
		}
		by := m.c.making(m.src)
		if err == nil {
			by.Rules, err = m.c.compile(m.src, def, lim)
		}
		if err == nil {
			out, err = by.worseIn(j, out)
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
			stands, _, _ = record.Approved(j, sub)
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
