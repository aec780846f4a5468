package main

import (
	"context"

	"github.com/spf13/cobra"

	"witnessmark/client"
)

func newReturnCommand(a *app) *cobra.Command {
	cmd := &cobra.Command{
		Use:   "return JOB.N --because TEXT",
		Short: "Return a waiting submission, or recall a release, with a reason",
		Args:  takes(1),
	}
	because := a.because(cmd)
	cmd.RunE = a.acts(func(ctx context.Context, c *client.Client, args []string) error {
		job, n, err := client.ParseSubmission(args[0])
		if err != nil {
			return err
		}
		why, err := because()
		if err != nil {
			return err
		}
		s, err := c.ReturnSubmission(ctx, job, n, why)
		if err != nil {
			return err
		}
		if err := a.raised(c, s.GetReturned().GetEntry()); err != nil {
			return err
		}
		return a.line(s, "returned %s", client.Name(s))
	})
	return cmd
}
