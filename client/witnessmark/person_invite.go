package main

import (
	"context"
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	"witnessmark/client"
)

func newPersonInvite(a *app) *cobra.Command {
	var addresses string
	cmd := &cobra.Command{
		Use:   "invite [--address HOST:PORT[,HOST:PORT…]]",
		Short: "Print the line by which somebody joins: addresses, fingerprint and head, nothing secret",
		Args:  cobra.NoArgs,
		RunE: a.looks(func(ctx context.Context, c *client.Client, _ []string) error {
			i, err := c.Invite(client.SplitList(addresses)...)
			if err != nil {
				return err
			}
			for _, addr := range i.OnlyHere() {
				a.say(onlyHere(ctx, addr))
			}
			if a.json() {
				return a.printValues("invitation", i.String(), "addresses", strings.Join(i.Addresses, ","), "fingerprint", i.Fingerprint,
					"entries", float64(i.Head.Size), "root", i.Head.Root)
			}
			_, err = fmt.Fprintln(a.out, i)
			return err
		}),
	}
	cmd.Flags().StringVar(&addresses, "address", "", "how others reach the server, where that is not how you do")
	return cmd
}

// onlyHere says what to give in the place of an address that leads others to themselves.
func onlyHere(ctx context.Context, addr string) string {
	text := addr + " leads others to their own machine"
	if there := client.FromElsewhere(ctx, addr); len(there) > 0 {
		return text + "; give --address " + there[0]
	}
	return text + ", and from elsewhere nothing answers at its port here: the server has to listen on the network (witnessmarkd serve --listen :PORT)"
}
