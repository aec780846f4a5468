package main

import (
	"context"
	"io"

	"github.com/spf13/cobra"

	"witnessmark/client"
	recordv1 "witnessmark/proto/witnessmark/record/v1"
)

func newWhoamiCommand(a *app) *cobra.Command {
	return &cobra.Command{
		Use:   "whoami",
		Short: "Who you are, as the ledger knows you",
		Args:  cobra.NoArgs,
		RunE: a.looks(func(_ context.Context, c *client.Client, _ []string) error {
			me, err := c.Me()
			if err != nil {
				return err
			}
			return a.print(me, func(w io.Writer) error { return writePeople(w, []*recordv1.Person{me}) })
		}),
	}
}
