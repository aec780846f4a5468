package client

import (
	"context"
	"fmt"
	"path/filepath"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/store/claims"
	"witnessmark/store/record"
	"witnessmark/tables/definition"
	"witnessmark/tables/image"
)

// ReadFile reads an image file into the layout's range. format overrides detection; empty detects.
func ReadFile(path string, format image.Format, lay *definition.Layout) (*image.Image, error) {
	b, err := ReadBounded(path, MaxFile)
	if err != nil {
		return nil, err
	}
	return lay.ReadImage(path, b, format)
}

// NewRead is an image taken out of a car.
type NewRead struct {
	Job    uint32
	Path   string
	Format image.Format
	// WithHoles takes it although it lacks bytes that the definition names.
	WithHoles bool
}

// AddRead adds an image taken out of the car. It is judged by itself, and compared with what the
// ledger says was last in this car.
func (c *Client) AddRead(ctx context.Context, n NewRead) (*recordv1.Read, *calibrationv1.Report, error) {
	job, rules, err := c.jobRules(ctx, n.Job)
	if err != nil {
		return nil, nil, err
	}
	im, err := ReadFile(n.Path, n.Format, rules.Layout)
	if err != nil {
		return nil, nil, err
	}
	d := &deed{}
	d.bring(n.Path, im.Bytes)
	add := &recordv1.AddRead{Job: n.Job, Image: im.Message(), WithHoles: n.WithHoles, FileName: d.seal("file_name", filepath.Base(n.Path))}
	if frame, ok := claims.FrameOf(rules.Layout, im, job.GetFrame().GetText()); ok {
		add.Frame = d.seal("frame", frame)
	}
	d.action = &recordv1.Action{Body: &recordv1.Action_Read{Read: add}}
	got, err := c.act(ctx, d)
	if err != nil {
		return nil, nil, err
	}
	if job, err = c.Job(n.Job); err != nil {
		return nil, nil, err
	}
	return job.GetReads()[len(job.GetReads())-1], got.made.Report, nil
}

// VoidRead takes back a read that should not have been added.
func (c *Client) VoidRead(ctx context.Context, number, read uint32, because string) (*recordv1.Job, error) {
	return c.actOn(ctx, number, &deed{action: &recordv1.Action{Body: &recordv1.Action_Void{
		Void: &recordv1.VoidRead{Job: number, Read: read, Because: because}}}})
}

// jobRules catches up, and compiles what a job is judged by today.
func (c *Client) jobRules(ctx context.Context, number uint32) (*recordv1.Job, claims.Rules, error) {
	if err := c.Sync(ctx); err != nil {
		return nil, claims.Rules{}, err
	}
	job, err := c.Job(number)
	if err != nil {
		return nil, claims.Rules{}, err
	}
	rules, err := c.claims.Rules(source{c: c, ctx: ctx}, number)
	return job, rules, refusal(err)
}

// asFound is a job's read as found.
func asFound(job *recordv1.Job) (*recordv1.Read, error) {
	if r := record.AsFound(job); r != nil {
		return r, nil
	}
	return nil, usage(fmt.Sprintf("witnessmark read add %d FILE", job.GetNumber()), "job %d has no read yet", job.GetNumber())
}

// JobLayout is the definition of a job, by its newest revision.
func (c *Client) JobLayout(ctx context.Context, job *recordv1.Job) (*definition.Layout, error) {
	rev, err := look(c, func(s *record.State) (*recordv1.Revision, error) {
		return revision(s, record.Definitions, job.GetDefinition().GetName())
	})
	if err != nil {
		return nil, err
	}
	lay, err := c.claims.Layout(source{c: c, ctx: ctx}, rev)
	return lay, refusal(err)
}
