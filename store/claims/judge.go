package claims

import (
	"bytes"
	"slices"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/store/record"
	"witnessmark/tables/compare"
	"witnessmark/tables/image"
	"witnessmark/tables/reckon"
)

func (m *making) submission(a *recordv1.Submit) error {
	j, err := m.job(a.GetJob())
	if err == nil {
		a.Judgement, err = m.judgement(j, a.GetImage(), a.GetMeantGiven(), a.GetMeant())
	}
	if err == nil {
		a.Corridor, err = m.inCorridor(a.GetJob())
	}
	return err
}

func (m *making) signOff(a *recordv1.SignOff) error {
	j, err := m.job(a.GetJob())
	if err == nil {
		a.Judgement, err = m.again(j, a.GetSubmission())
	}
	return err
}

// collect judges a release again, and holds one that a corridor gave against that; the read as found is not judged.
func (m *making) collect(a *recordv1.Collect) error {
	a.Judgement = nil
	j, err := m.job(a.GetJob())
	switch {
	case err != nil:
	case a.GetSubmission() == 0:
		m.Candidate, err = m.image("read as found", record.AsFound(j).GetImage())
	default:
		a.Judgement, err = m.again(j, a.GetSubmission())
		if _, _, by := record.Approved(j, j.GetSubmissions()[a.GetSubmission()-1]); err == nil && by != nil {
			m.Corridor, err = m.spoken(j, a.GetSubmission())
		}
	}
	return err
}

// again judges a submission, which the record has, as things are now.
func (m *making) again(j *recordv1.Job, n uint32) (*recordv1.Judgement, error) {
	sub := j.GetSubmissions()[n-1]
	return m.judgement(j, sub.GetImage(), sub.GetMeantGiven(), sub.GetMeant())
}

// judgement compares an image with a job's read as found.
func (m *making) judgement(j *recordv1.Job, candidate *recordv1.Image, meantGiven bool, meant []string) (_ *recordv1.Judgement, err error) {
	if m.Base, err = m.image("read as found", record.AsFound(j).GetImage()); err != nil {
		return nil, err
	}
	if m.Candidate, err = m.image("image", candidate); err != nil {
		return nil, err
	}
	return m.judge(j, meantGiven, meant)
}

// judge is what a report on the candidate, against the base if there is one, comes to.
func (m *making) judge(j *recordv1.Job, meantGiven bool, meant []string) (*recordv1.Judgement, error) {
	in := compare.Input{Base: m.Base, Candidate: m.Candidate, MeantGiven: meantGiven, Meant: meant}
	var runs []string
	var err error
	if m.Base != nil {
		if in.AsFound, err = m.asFound(j.GetCar()); err != nil {
			return nil, err
		}
		if in.Proven, runs, err = m.proven(j); err != nil {
			return nil, err
		}
		if in.Run, err = m.driven(j); err != nil {
			return nil, err
		}
		runs = named(runs, in.Run)
	}
	a, err := m.report(j, in)
	if err != nil {
		return nil, err
	}
	m.Report = a.report
	out := &recordv1.Judgement{
		Definition: &recordv1.Revision{Name: m.Layout.Name, Sha256: m.Layout.SHA256},
		Limits:     &recordv1.Revision{Name: m.Limits.Name, Sha256: m.Limits.SHA256},
		Fuel:       j.GetFuel(), Numbers: j.GetNumbers(),
		RunSha256: runs, ReportSha256: string(a.sha), Verdict: a.report.GetVerdict(), Warnings: compare.Warnings(a.report),
	}
	if m.Base != nil {
		out.BaseSha256, out.AsFoundSha256 = string(m.Base.SHA256()), a.report.GetAsFound().GetSha256()
	}
	return out, nil
}

// report makes a report by the job's rules and facts; the action is to name it.
func (m *making) report(j *recordv1.Job, in compare.Input) (*answer, error) {
	in.Layout, in.Limits = m.Layout, m.Limits
	in.Job, _ = reckon.Facts(j.GetFuel(), j.GetNumbers()) // numbers that cannot be reckoned open no job
	a, err := m.c.answer(in)
	if err == nil {
		m.Reports[a.sha] = a.bytes
	}
	return a, err
}

// same says whether found is what was written, as far as the file that was written says anything.
func (m *making) same(written, found *image.Image) (bool, string) {
	m.c.comparisons.Add(1)
	return compare.SameInCar(m.Layout, written, found)
}

// differ reports how what was found differs from what was written, where both are known.
func (m *making) differ(j *recordv1.Job, written, found *image.Image) (*answer, error) {
	held := image.Common(written.Held, found.Held)
	return m.report(j, compare.Input{Base: holding(written, held), Candidate: holding(found, held)})
}

// holding is an image of which less is known.
func holding(im *image.Image, held []image.Range) *image.Image {
	if slices.Equal(im.Held, held) {
		return im
	}
	return &image.Image{Format: im.Format, Space: im.Space, Bytes: im.Bytes, Held: held}
}

// over is an image with another's bytes in its gaps: what is unknown differs from nothing.
func over(im, other *image.Image) *image.Image {
	if len(im.Gaps()) == 0 || !slices.Equal(im.Space, other.Space) || len(im.Bytes) != len(other.Bytes) {
		return im
	}
	out := &image.Image{Format: im.Format, Space: im.Space, Bytes: bytes.Clone(im.Bytes), Held: image.Join(slices.Concat(im.Held, other.Held))}
	for _, g := range im.Space.Offsets(im.Gaps()) {
		copy(out.Bytes[g.Start:g.End], other.Bytes[g.Start:])
	}
	return out
}
