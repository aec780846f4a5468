package main

import (
	"context"

	"github.com/spf13/cobra"

	"witnessmark/client"
)

func newSettleCommand(a *app) *cobra.Command {
	cmd := &cobra.Command{
		Use:   "settle NAME ALARM --because TEXT",
		Short: "Say that an alarm has been seen to; NAME and ALARM are as the job's card shows them",
		Args:  takes(2),
	}
	because := a.because(cmd)
	cmd.RunE = a.acts(func(ctx context.Context, c *client.Client, args []string) error {
		about, err := nameOf(args[0])
		if err != nil {
			return err
		}
		why, err := because()
		if err != nil {
			return err
		}
		j, err := c.Settle(ctx, about, args[1], why)
		if err != nil {
			return err
		}
		return a.line(j, "settled %s %s", about, args[1])
	})
	return cmd
}
