package client

import (
	"context"
	"fmt"
	"path/filepath"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/store/record"
	"witnessmark/tables/compare"
	"witnessmark/tables/definition"
	"witnessmark/tables/image"
)

// Found is what a read-back showed. Report says how it differs, and is nil where it matches.
type Found struct {
	Readback *recordv1.Readback
	Report   *calibrationv1.Report
	Why      string
	Is       string // which known image of the job it is in place of what was written, in words; else empty

	Layout          *definition.Layout // with the two images that Report compares; nil where it is
	Written, Actual []byte
}

// Readback compares an image read after writing with what was collected, and enters it.
func (c *Client) Readback(ctx context.Context, number uint32, path string, format image.Format) (*Found, error) {
	job, rules, err := c.jobRules(ctx, number)
	if err != nil {
		return nil, err
	}
	if len(job.GetCollections()) == 0 {
		return nil, notCollected(number)
	}
	im, err := ReadFile(path, format, rules.Layout)
	if err != nil {
		return nil, err
	}
	d := &deed{}
	d.bring(path, im.Bytes)
	add := &recordv1.AddReadback{Job: number, Image: im.Message(), FileName: d.seal("file_name", filepath.Base(path))}
	f, err := c.enterReadback(ctx, add, d)
	if err == nil && f.Report != nil {
		f.Is = c.knownAs(ctx, job, rules.Layout, im)
	}
	return f, err
}

// knownAs looks for what was read back among the job's reads and submissions. It is a help: what
// cannot be fetched is passed over.
func (c *Client) knownAs(ctx context.Context, job *recordv1.Job, lay *definition.Layout, found *image.Image) string {
	is := func(of record.Name, m *recordv1.Image) bool {
		b, err := c.download(ctx, of.String(), m.GetSha256())
		if err != nil {
			return false
		}
		known, err := image.FromMessage(m, lay.Space, b)
		if err != nil {
			return false
		}
		same, _ := compare.SameInCar(lay, known, found)
		return same
	}
	for _, r := range job.GetReads() {
		if of := (record.Name{Job: job.GetNumber(), Part: record.ARead, N: r.GetNumber()}); r.GetVoided() == nil && is(of, r.GetImage()) {
			return record.WriteFailed(of, r.GetAsFound())
		}
	}
	for _, sub := range job.GetSubmissions() {
		if of := (record.Name{Job: job.GetNumber(), Part: record.ASubmission, N: sub.GetNumber()}); is(of, sub.GetImage()) {
			return record.WriteFailed(of, false)
		}
	}
	return ""
}

func notCollected(number uint32) error {
	return usage(fmt.Sprintf("witnessmark collect %d --out FILE", number), "nothing of job %d has been collected, so nothing was written", number)
}

// NotPossible enters that this controller cannot be read back, and why; it is about what was
// collected last.
func (c *Client) NotPossible(ctx context.Context, number uint32, why string) (*Found, error) {
	if err := c.Sync(ctx); err != nil {
		return nil, err
	}
	job, err := c.Job(number)
	if err != nil {
		return nil, err
	}
	list := job.GetCollections()
	if len(list) == 0 {
		return nil, notCollected(number)
	}
	return c.enterReadback(ctx, &recordv1.AddReadback{Job: number, Submission: list[len(list)-1].GetSubmission(), NotPossible: why}, &deed{})
}

func (c *Client) enterReadback(ctx context.Context, add *recordv1.AddReadback, d *deed) (*Found, error) {
	d.action = &recordv1.Action{Body: &recordv1.Action_ReadBack{ReadBack: add}}
	got, err := c.act(ctx, d)
	if err != nil {
		return nil, err
	}
	job, err := c.Job(add.GetJob())
	if err != nil {
		return nil, err
	}
	f := &Found{Readback: job.GetReadBacks()[len(job.GetReadBacks())-1], Report: got.made.Report, Why: got.made.Why}
	if f.Report != nil {
		f.Layout, f.Written, f.Actual = got.made.Layout, got.made.Base.Bytes, got.made.Candidate.Bytes
	}
	return f, nil
}
