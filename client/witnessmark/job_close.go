package main

import (
	"context"
	"fmt"

	"github.com/spf13/cobra"

	"witnessmark/client"
	recordv1 "witnessmark/proto/witnessmark/record/v1"
)

func newJobClose(a *app) *cobra.Command {
	var outcome, why string
	cmd := &cobra.Command{Use: "close JOB --as done|cancelled [--because TEXT]", Short: "End a visit", Args: takes(1)}
	cmd.Flags().StringVar(&outcome, "as", "", "what became of it: done or cancelled")
	cmd.Flags().StringVar(&why, "because", "", "why; "+forEver)
	cmd.RunE = a.acts(func(ctx context.Context, c *client.Client, args []string) error {
		n, err := client.ParseJob(args[0])
		if err != nil {
			return err
		}
		j, err := c.CloseJob(ctx, n, outcome, why)
		if err != nil {
			return err
		}
		turns := j.GetTurns()
		if err := a.raised(c, turns[len(turns)-1].GetEntry()); err != nil {
			return err
		}
		return a.line(j, "closed job %d: %s", n, outcome)
	})
	return required(cmd, "as")
}

func newJobReopen(a *app) *cobra.Command {
	cmd := &cobra.Command{Use: "reopen JOB --because TEXT", Short: "Take a closed job up again", Args: takes(1)}
	because := a.because(cmd)
	cmd.RunE = a.onJob(func(ctx context.Context, c *client.Client, n uint32) (*recordv1.Job, error) {
		why, err := because()
		if err != nil {
			return nil, err
		}
		return c.ReopenJob(ctx, n, why)
	}, func(j *recordv1.Job) string { return fmt.Sprintf("reopened job %d", j.GetNumber()) })
	return cmd
}
