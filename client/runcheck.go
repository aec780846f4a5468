package client

import (
	"context"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/tables/runcheck"
)

// RunCheck is what a run of a job showed when it was held against what was in the car; nil where that was not known.
func (c *Client) RunCheck(ctx context.Context, r *recordv1.Run) (*calibrationv1.RunCheck, error) {
	if r.GetCheckSha256() == "" {
		return nil, nil
	}
	name := "the check of " + RunName(r)
	b, err := c.download(ctx, name, r.GetCheckSha256())
	if err != nil {
		return nil, err
	}
	out := &calibrationv1.RunCheck{}
	if err := decode(b, out); err != nil {
		return nil, distrust("%s is none: %v", name, err)
	}
	return out, nil
}

// Ahead holds a run against the base of a review, and follows the boost target of what was submitted.
func (r *Review) Ahead(run *RecordedRun) (*runcheck.Result, error) {
	base, candidate := r.made.Base, r.made.Candidate
	return runcheck.Check(runcheck.Input{Run: run.Run, SHA256: run.SHA256, Image: base, Candidate: candidate, Layout: r.made.Layout, Limits: r.made.Limits})
}
