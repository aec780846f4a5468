package claims

import (
	"maps"
	"slices"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/store/record"
	"witnessmark/tables/image"
	"witnessmark/tables/limits"
)

// definition: the file compiles, has that name, and fits every limits file that names it.
func (m *making) definition(a *recordv1.AddDefinition) error {
	lay, err := m.c.Layout(m.src, a.GetRevision())
	if err != nil {
		return err
	}
	m.Layout, a.Revision.Name = lay, lay.Name
	all := map[string]*recordv1.Revision{}
	err = m.src.View(func(s *record.State) error {
		s.Revisions(record.Limits, "", 0, func(f *recordv1.CatalogFile) bool {
			all[f.GetName()] = &recordv1.Revision{Name: f.GetName(), Sha256: f.GetSha256()} // the newest comes last
			return true
		})
		return nil
	})
	if err != nil {
		return err
	}
	for _, name := range slices.Sorted(maps.Keys(all)) {
		lim, err := document(m.src, &m.c.limits, "limits", all[name], limits.Load)
		if err != nil {
			return err
		}
		if r := (Rules{lay, lim}); slices.Contains(lim.Source.GetAppliesTo(), lay.Name) {
			if err := r.meet(); err != nil {
				return err
			}
		}
	}
	a.JudgedWorse, err = m.judgedWorse(record.Definitions, a.GetRevision())
	return err
}

// limitsFile: the file parses, has that name, and fits every definition that it names and that is here.
func (m *making) limitsFile(a *recordv1.AddLimits) error {
	lim, err := document(m.src, &m.c.limits, "limits", a.GetRevision(), limits.Load)
	if err != nil {
		return err
	}
	m.Limits, a.Revision.Name = lim, lim.Name
	for _, name := range lim.Source.GetAppliesTo() {
		var def *recordv1.Revision
		err := m.src.View(func(s *record.State) error {
			def = newest(s, record.Definitions, &recordv1.Revision{Name: name})
			return nil
		})
		if err == nil && def.GetSha256() != "" {
			_, err = m.c.compile(m.src, def, a.GetRevision())
		}
		if err != nil {
			return err
		}
	}
	a.JudgedWorse, err = m.judgedWorse(record.Limits, a.GetRevision())
	return err
}

// judgedWorse lists what waits and what was released in open jobs that a new revision judges worse
// than the judgement that stands.
func (m *making) judgedWorse(kind string, rev *recordv1.Revision) (out []*recordv1.JudgedWorse, err error) {
	type judged struct {
		job      *recordv1.Job
		def, lim *recordv1.Revision
	}
	var jobs []judged
	err = m.src.View(func(s *record.State) error {
		s.Jobs(0, func(j *recordv1.Job) bool {
			by := judged{j, newest(s, record.Definitions, j.GetDefinition()), newest(s, record.Limits, j.GetLimits())}
			mine := by.def
			if kind == record.Limits {
				mine = by.lim
			}
			if mine.GetName() == rev.GetName() && j.GetState() == "open" && len(j.GetSubmissions()) > 0 {
				mine.Sha256 = rev.GetSha256()
				jobs = append(jobs, by)
			}
			return true
		})
		return nil
	})
	for _, by := range jobs {
		if err != nil {
			break
		}
		var worse []*recordv1.JudgedWorse
		worse, err = m.worseIn(by.job, by.def, by.lim)
		out = append(out, worse...)
	}
	return out, err
}

func (m *making) worseIn(j *recordv1.Job, def, lim *recordv1.Revision) (out []*recordv1.JudgedWorse, err error) {
	by := &making{c: m.c, Made: &Made{Reports: map[image.Hash][]byte{}}, src: m.src}
	if err := by.load(def, lim); err != nil {
		return nil, err
	}
	for _, sub := range j.GetSubmissions() {
		stands := sub.GetJudgement()
		if record.IsRelease(sub) {
			stands = sub.GetSignOff().GetJudgement()
		} else if sub.GetState() != record.Waiting {
			continue
		}
		now, err := by.judgement(j, sub.GetImage(), sub.GetMeantGiven(), sub.GetMeant())
		if err != nil {
			return nil, err
		}
		if record.Worse(stands, now) != "" {
			out = append(out, &recordv1.JudgedWorse{Job: j.GetNumber(), Submission: sub.GetNumber(), Verdict: now.GetVerdict(), Warnings: now.GetWarnings()})
		}
	}
	return out, nil
}
