package outcome

import (
	"context"

	"witnessmark/client"
)

// Fetch gathers what a job's outcome is made of, verified on the way, and makes it. Of in only the
// units and the correction are taken.
func Fetch(ctx context.Context, c *client.Client, n uint32, in Input) (*Outcome, error) {
	var err error
	if in.Job, err = c.Job(n); err != nil {
		return nil, err
	}
	if in.Runs, err = c.Runs(ctx, n, ""); err != nil {
		return nil, err
	}
	if in.Layout, err = c.JobLayout(ctx, in.Job); err != nil {
		return nil, err
	}
	if sub := Subject(in.Job); sub != 0 {
		if in.Review, err = c.Review(ctx, n, sub); err != nil {
			return nil, err
		}
	}
	return Make(in)
}
