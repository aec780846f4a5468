package main

import (
	"context"
	"github.com/spf13/cobra"

	"witnessmark/client"
	recordv1 "witnessmark/proto/witnessmark/record/v1"
)

func newJobCommand(a *app) *cobra.Command {
	show := &cobra.Command{Use: "show JOB", Short: "A job's card: its alarms first", Args: takes(1),
		RunE: a.looks(func(ctx context.Context, c *client.Client, args []string) error {
			n, err := client.ParseJob(args[0])
			if err != nil {
				return err
			}
			return a.printCard(ctx, c, n)
		})}
	return group("job", "Jobs: one car's visit each", newJobOpen(a), newJobAmend(a), newJobClose(a), newJobReopen(a), newJobList(a), show)
}

// onJob is a step with one job, whose card's state is the answer.
func (a *app) onJob(do func(ctx context.Context, c *client.Client, n uint32) (*recordv1.Job, error), said func(*recordv1.Job) string) func(*cobra.Command, []string) error {
	return a.acts(func(ctx context.Context, c *client.Client, args []string) error {
		n, err := client.ParseJob(args[0])
		if err != nil {
			return err
		}
		j, err := do(ctx, c, n)
		if err != nil {
			return err
		}
		return a.line(j, "%s", said(j))
	})
}
