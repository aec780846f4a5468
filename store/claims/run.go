package claims

import (
	"slices"

	"google.golang.org/protobuf/proto"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/store"
	"witnessmark/store/record"
	"witnessmark/store/wire"
	"witnessmark/tables/image"
	"witnessmark/tables/limits"
	"witnessmark/tables/run"
	"witnessmark/tables/runcheck"
	"witnessmark/tables/severity"
)

// run: both files can be read. It is held against what was in the car, as the action says or the record knows; danger that it then shows after a
// change is the action's to say.
func (m *making) run(a *recordv1.AddRun) error {
	file, err := m.bytes("run.file_sha256", a.GetFileSha256())
	if err != nil {
		return err
	}
	channels, err := m.bytes("run.channels_sha256", a.GetChannelsSha256())
	if err != nil {
		return err
	}
	r, err := run.Load("the run", file, "the channel file", channels)
	if err != nil {
		return refuse(ReasonRun, "run.file_sha256", "", "%s", oneLine(err))
	}
	a.Danger, a.CheckSha256 = false, ""
	if m.Candidate, err = m.inCar(a.GetJob(), a.GetOf()); err != nil || m.Candidate == nil {
		return err
	}
	m.c.slots <- struct{}{}
	defer func() { <-m.c.slots }()
	m.Run, err = runcheck.Check(runcheck.Input{Run: r, SHA256: a.GetFileSha256(), Image: m.Candidate, Layout: m.Layout, Limits: m.Limits})
	if err != nil {
		return refuse(ReasonRun, "run", "", "run: cannot be held against what is in the car: %s", oneLine(err))
	}
	b, err := proto.MarshalOptions{Deterministic: true}.Marshal(m.Run.RunCheck)
	if err != nil {
		return err
	}
	sha := image.HashOf(b)
	m.Reports[sha] = b
	a.CheckSha256, a.Danger = string(sha), a.GetWhen() == "after" && m.Run.Verdict == string(severity.Danger)
	return nil
}

// inCar is the image that a job's car has, by the job's own rules: the one of the job that is named, or what the record knows; nil
// where that is nothing, or of another definition.
func (m *making) inCar(job uint32, named string) (*image.Image, error) {
	j, err := m.job(job)
	if err != nil {
		return nil, err
	}
	var im *recordv1.Image
	err = m.src.View(func(s *record.State) error {
		if named != "" {
			im, err = imageNamed(s, job, named)
			return err
		}
		if in := s.InCar(j.GetCar()); in.GetKnown() {
			if there, ok := s.Job(in.GetJob()); ok && there.GetDefinition().GetName() == m.Layout.Name {
				im, _ = s.Image(in.GetImageSha256())
			}
		}
		return nil
	})
	if err != nil || im == nil || uint64(im.GetSize()) != m.Layout.Size {
		return nil, err
	}
	return m.image("what is in the car", im)
}

// imageNamed is an image of a job; whether it was ever in the car is for the rules to say.
func imageNamed(s *record.State, job uint32, named string) (*recordv1.Image, error) {
	of, err := record.ParseName(named)
	if im, there := s.Image(s.BytesOf(of)); err == nil && there && of.Job == job {
		return im, nil
	}
	return nil, refuse(record.ReasonNotFound, "run.of", "", "run.of: job %d has no image %.60q; allowed: a read, or a submission that was collected", job, named)
}

// driven is the newest run of a job, where its limits ask what a run covers, beside the runs before the change.
func (m *making) driven(j *recordv1.Job) (*limits.Run, error) {
	asks := slices.ContainsFunc(m.Limits.Source.GetRules(), func(r *calibrationv1.Rule) bool { return r.GetCovers() != nil })
	runs := j.GetRuns()
	if !asks || len(runs) == 0 {
		return nil, nil
	}
	var before []*limits.Run
	for _, r := range runs[:min(len(runs), mostRuns)] {
		if r.GetWhen() == "before" {
			b, err := m.forRules(r)
			if err != nil {
				return nil, err
			}
			before = append(before, b)
		}
	}
	return m.forRules(runs[len(runs)-1], before...)
}

func (m *making) forRules(of *recordv1.Run, before ...*limits.Run) (*limits.Run, error) {
	file, err := m.bytes("a run", of.GetFileSha256())
	if err != nil {
		return nil, err
	}
	channels, err := m.bytes("the channels of a run", of.GetChannelsSha256())
	if err != nil {
		return nil, err
	}
	r, err := run.Load("a run", file, "its channels", channels)
	if err != nil {
		return nil, refuse(ReasonRun, "", "", "run %d: %s", of.GetNumber(), oneLine(err))
	}
	return r.ForRules(of.GetFileSha256(), before...), nil
}

// named adds the files of a run and of those before it to those that proved something: a run may stand in both parts, so
// that what it was asked for is told too.
func named(files []string, r *limits.Run) []string {
	if r == nil {
		return files
	}
	for _, b := range r.Before {
		files = append(files, b.SHA256)
	}
	if n := len(r.Before); n == 0 || r.Before[n-1].SHA256 != r.SHA256 {
		files = append(files, r.SHA256)
	}
	return files
}

// mostRuns of a job, the first, are asked what they prove and where the car had been before.
const mostRuns = 32

// proven are the signals that runs of the job, by its definition, were held against and did not contradict, in order, and
// the files of the runs that were the first to prove one.
func (m *making) proven(j *recordv1.Job) (signals, files []string, err error) {
	open := 0
	for _, s := range m.Layout.Signals {
		if s.Source.GetObserved() != nil {
			open++
		}
	}
	for _, r := range j.GetRuns()[:min(len(j.GetRuns()), mostRuns)] {
		if open == len(signals) || r.GetCheckSha256() == "" {
			continue
		}
		b, err := m.bytes("the check of a run", r.GetCheckSha256())
		if err != nil {
			return nil, nil, err
		}
		c := &calibrationv1.RunCheck{}
		if wire.Unmarshal(b, c, store.MaxDecoded) != nil {
			continue
		}
		news := slices.DeleteFunc(provenBy(c), func(id string) bool { return m.Layout.SignalByID[id] == nil || slices.Contains(signals, id) })
		if len(news) > 0 {
			signals, files = append(signals, news...), append(files, r.GetFileSha256())
		}
	}
	slices.Sort(signals)
	return signals, files, nil
}

// provenBy are the signals that a check held a run against, and of which it found nothing worth a caution.
func provenBy(c *calibrationv1.RunCheck) (out []string) {
	for _, s := range c.GetSides() {
		against := slices.ContainsFunc(c.GetFindings(), func(f *calibrationv1.RunFinding) bool {
			return f.GetSignal() == s.GetSignal() && severity.Of(f.GetSeverity()).AtLeast(severity.Caution)
		})
		if s.GetSignal() != "" && s.GetSamples() > 0 && !against {
			out = append(out, s.GetSignal())
		}
	}
	return out
}
