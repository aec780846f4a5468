package claims

import (
	"cmp"
	"slices"

	"google.golang.org/protobuf/proto"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/store/record"
	"witnessmark/tables/definition"
	"witnessmark/tables/image"
	"witnessmark/tables/run"
	"witnessmark/tables/runcheck"
	"witnessmark/tables/severity"
)

// run: both files can be read. It is held against what the record knows to be in the car; danger that it then shows after a
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
	if m.Candidate, err = m.inCar(a.GetJob()); err != nil || m.Candidate == nil {
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

// inCar is the image that a job's car has, by the job's own rules; nil where it is not known, or of another definition.
func (m *making) inCar(job uint32) (*image.Image, error) {
	j, err := m.job(job)
	if err != nil {
		return nil, err
	}
	var im *recordv1.Image
	err = m.src.View(func(s *record.State) error {
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

// mostRuns of a car, the newest, say what is proven.
const mostRuns = 8

// proven are the signals that runs of the car, by the job's definition, were held against and did not contradict, each once.
func (m *making) proven(car uint32) (out []string, err error) {
	if !slices.ContainsFunc(m.Layout.Signals, func(s *definition.Signal) bool { return s.Source.GetObserved() != nil }) {
		return nil, nil
	}
	var checks []string
	err = m.src.View(func(s *record.State) error {
		for _, j := range slices.Backward(s.CarJobs(car)) {
			for _, r := range slices.Backward(j.GetRuns()) {
				if r.GetCheckSha256() != "" && !j.GetImagesErased() && len(checks) < mostRuns {
					checks = append(checks, r.GetCheckSha256())
				}
			}
		}
		return nil
	})
	for _, sha := range checks {
		var c calibrationv1.RunCheck
		b, blobErr := m.bytes("the check of a run", sha)
		if err = cmp.Or(err, blobErr); err != nil {
			return nil, err
		}
		if proto.Unmarshal(b, &c) != nil || c.GetDefinition().GetName() != m.Layout.Name {
			continue
		}
		for _, s := range c.GetSides() {
			against := slices.ContainsFunc(c.GetFindings(), func(f *calibrationv1.RunFinding) bool {
				return f.GetSignal() == s.GetSignal() && severity.Of(f.GetSeverity()).AtLeast(severity.Caution)
			})
			if s.GetSignal() != "" && s.GetSamples() > 0 && !against && !slices.Contains(out, s.GetSignal()) {
				out = append(out, s.GetSignal())
			}
		}
	}
	slices.Sort(out)
	return out, err
}
