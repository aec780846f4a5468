package main

import (
	"context"

	"github.com/spf13/cobra"

	"witnessmark/client"
)

func newWithdrawCommand(a *app) *cobra.Command {
	return &cobra.Command{
		Use:   "withdraw JOB.N",
		Short: "Take back your own waiting submission",
		Args:  takes(1),
		RunE: a.acts(func(ctx context.Context, c *client.Client, args []string) error {
			job, n, err := client.ParseSubmission(args[0])
			if err != nil {
				return err
			}
			s, err := c.Withdraw(ctx, job, n)
			if err != nil {
				return err
			}
			return a.line(s, "withdrew %s", client.Name(s))
		}),
	}
}
