package client

import (
	"context"
	"fmt"
	"path/filepath"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/tables/definition"
	"witnessmark/tables/image"
)

// Found is what a read-back showed. Report says how it differs, and is nil where it matches.
type Found struct {
	Readback *recordv1.Readback
	Report   *calibrationv1.Report
	Why      string

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
	return c.enterReadback(ctx, add, d)
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
