package client

import (
	"context"
	"fmt"

	"google.golang.org/protobuf/proto"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/store/record"
	"witnessmark/tables/compare"
	"witnessmark/tables/image"
	"witnessmark/tables/reckon"
)

// NewJob is what a person says when a car comes in.
type NewJob struct {
	Car, Frame, Definition, Limits, Fuel, Note string
	Parts                                      []string
	Numbers                                    []string // NAME=VALUE each
}

// OpenJob opens a job and answers with it.
func (c *Client) OpenJob(ctx context.Context, n NewJob) (*recordv1.Job, error) {
	if err := c.Sync(ctx); err != nil {
		return nil, err
	}
	s := c.view()
	def, ok := s.Newest("definition", n.Definition)
	if !ok {
		return nil, usage("witnessmark definition list", "no definition is called %q", n.Definition)
	}
	lim, ok := s.Newest("limits", n.Limits)
	if !ok {
		return nil, usage("witnessmark limits list", "no limits are called %q", n.Limits)
	}
	numbers, err := ParseNumbers(n.Numbers)
	if err != nil {
		return nil, err
	}
	job := &recordv1.OpenJob{Car: record.NormalPlate(n.Car), Fuel: n.Fuel, Parts: n.Parts, Note: n.Note, Numbers: numbers,
		Definition: &recordv1.Revision{Name: def.Name, Sha256: def.Sha256},
		Limits:     &recordv1.Revision{Name: lim.Name, Sha256: lim.Sha256}}
	rules, err := c.rules(ctx, job.Definition, job.Limits)
	if err != nil {
		return nil, err
	}
	job.LimitsFuel = rules.Limit.Source.GetFuel()
	if n.Frame != "" {
		job.FrameDigest = record.FrameDigest(c.config.Genesis, n.Frame)
	}
	index, err := c.act(ctx, &recordv1.Action{Body: &recordv1.Action_Job{Job: job}})
	if err != nil {
		return nil, err
	}
	for _, j := range c.view().Jobs() {
		if uint64(j.Opened.GetEntry()) == index {
			return j, nil
		}
	}
	return nil, distrust("entry %d opened no job", index)
}

// job is a job of the mirror.
func (c *Client) job(n uint32) (*record.State, *recordv1.Job, error) {
	s := c.view()
	j, ok := s.Job(n)
	if !ok {
		return nil, nil, usage("witnessmark job list", "there is no job %d", n)
	}
	return s, j, nil
}

// AddRead adds an image taken out of the car. The first one is the original, and is judged by
// itself; any one is compared with what the ledger says was last in this car.
func (c *Client) AddRead(ctx context.Context, number uint32, path string, format image.Format) (*recordv1.Read, *calibrationv1.Report, error) {
	if err := c.Sync(ctx); err != nil {
		return nil, nil, err
	}
	s, job, err := c.job(number)
	if err != nil {
		return nil, nil, err
	}
	rules, err := c.rules(ctx, job.Definition, job.Limits)
	if err != nil {
		return nil, nil, err
	}
	p, err := ReadFile(path, format, rules.Layout)
	if err != nil {
		return nil, nil, err
	}
	if err := rules.Layout.Identify(p.Bytes); err != nil {
		return nil, nil, &Error{Kind: Refused, Text: path + " is not of " + rules.Layout.Name, Err: err}
	}
	add := &recordv1.AddRead{Job: number, Image: p.Image}
	blobs := []blob{{path, p.Bytes}}
	var report *calibrationv1.Report
	if len(job.Reads) == 0 {
		newest, err := c.newestRules(ctx, s, job)
		if err != nil {
			return nil, nil, err
		}
		report, err = compare.Check(p.Side(newest.Layout), newest.Layout, newest.Limit, jobFacts(job))
		if err != nil {
			return nil, nil, err
		}
		b, judgement, err := judge(report, newest)
		if err != nil {
			return nil, nil, err
		}
		add.Check = judgement
		blobs = append(blobs, blob{"check report", b})
	}
	if add.LastKnown, blobs, err = c.lastKnown(ctx, s, job, rules, p, blobs); err != nil {
		return nil, nil, err
	}
	if _, err := c.act(ctx, &recordv1.Action{Body: &recordv1.Action_Read{Read: add}}, blobs...); err != nil {
		return nil, nil, err
	}
	_, job, err = c.job(number)
	if err != nil {
		return nil, nil, err
	}
	return job.Reads[len(job.Reads)-1], report, nil
}

// lastKnown compares a read with what was last in the car.
func (c *Client) lastKnown(ctx context.Context, s *record.State, job *recordv1.Job, rules *Rules, p *Picture, blobs []blob) (*recordv1.LastKnown, []blob, error) {
	in, ok := s.InCar(job.Car)
	if !ok {
		return nil, blobs, nil
	}
	k := &recordv1.LastKnown{Job: in.Job, Submission: in.Submission, ImageSha256: in.ImageSha256}
	then, ok := s.Job(in.Job)
	var err error
	if !ok {
		return nil, nil, fmt.Errorf("the ledger has no job %d, which the car's last image is of", in.Job)
	}
	lay := rules.Layout
	if then.Definition.GetSha256() != job.Definition.GetSha256() {
		if lay, err = c.layout(ctx, then.Definition); err != nil {
			return nil, nil, err
		}
	}
	last := imageOf(then, in.ImageSha256)
	if last == nil {
		return nil, nil, fmt.Errorf("job %d has no image %s, which the car's last image is", in.Job, short(in.ImageSha256))
	}
	before, err := c.picture(ctx, "what was last in the car", last, lay)
	if err != nil {
		return nil, nil, err
	}
	if len(before.Bytes) != len(p.Bytes) {
		return k, blobs, nil
	}
	k.Same, _ = compare.SameInCar(lay, before.Side(lay), p.Side(lay))
	// Two revisions of a definition may name the same bytes differently: then there is no report.
	if k.Same || then.Definition.GetSha256() != job.Definition.GetSha256() {
		return k, blobs, nil
	}
	report, err := compare.Compare(compare.Input{Base: before.Side(lay), Candidate: p.Side(lay),
		Layout: lay, Limits: rules.Limit, Job: jobFacts(job)})
	if err != nil {
		return nil, nil, err
	}
	b, err := marshal(report)
	if err != nil {
		return nil, nil, err
	}
	k.ReportSha256 = HashHex(b)
	return k, append(blobs, blob{"report against what was last in the car", b}), nil
}

// imageOf finds an image of a job by its hash.
func imageOf(job *recordv1.Job, sum string) *recordv1.Image {
	for _, r := range job.Reads {
		if r.Image.GetSha256() == sum {
			return r.Image
		}
	}
	for _, s := range job.Submissions {
		if s.Image.GetSha256() == sum {
			return s.Image
		}
	}
	for _, b := range job.ReadBacks {
		if b.Image.GetSha256() == sum {
			return b.Image
		}
	}
	return nil
}

// original is a job's first read.
func original(job *recordv1.Job) (*recordv1.Read, error) {
	for _, r := range job.Reads {
		if r.Original {
			return r, nil
		}
	}
	return nil, usage(fmt.Sprintf("witnessmark read add %d FILE", job.Number), "job %d has no read yet", job.Number)
}

// jobFacts are what a job tells the rules.
func jobFacts(job *recordv1.Job) *calibrationv1.JobFacts {
	facts, _ := reckon.Facts(job.Fuel, job.Numbers) // numbers that cannot be reckoned open no job
	return facts
}

// marshal is a report's bytes as they are kept and named.
func marshal(report *calibrationv1.Report) ([]byte, error) {
	return proto.MarshalOptions{Deterministic: true}.Marshal(report)
}

// judge sums a report up as an action carries it.
func judge(report *calibrationv1.Report, rules *Rules) ([]byte, *recordv1.Judgement, error) {
	b, err := marshal(report)
	if err != nil {
		return nil, nil, err
	}
	return b, &recordv1.Judgement{Definition: rules.Definition, Limits: rules.Limits,
		ReportSha256: HashHex(b), Verdict: report.Verdict, Warnings: compare.Warnings(report)}, nil
}

// Jobs, Job, People, Documents and Ledger answer from the mirror, after a Sync.
func (c *Client) Jobs() []*recordv1.Job { return c.view().Jobs() }

// Job is one job of the mirror.
func (c *Client) Job(n uint32) (*recordv1.Job, error) {
	_, j, err := c.job(n)
	return j, err
}
