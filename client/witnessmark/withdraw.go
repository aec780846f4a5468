package main

import (
	"context"
	"fmt"
	"io"

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
			return a.print(s, func(w io.Writer) error {
				_, err := fmt.Fprintf(w, "withdrew %s\n", client.Name(s))
				return err
			})
		}),
	}
}
