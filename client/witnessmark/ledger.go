package main

import (
	"context"
	"fmt"

	"github.com/spf13/cobra"

	"witnessmark/client"
)

func newLedgerCommand(a *app) *cobra.Command {
	head := &cobra.Command{Use: "head", Short: "Size and root of what you have seen of the ledger, to compare with a colleague's", Args: cobra.NoArgs,
		RunE: a.looks(func(_ context.Context, c *client.Client, _ []string) error {
			h := c.Head()
			if a.json() {
				return a.printHead(c, h)
			}
			_, err := fmt.Fprintf(a.out, "%d:%s\n", h.Size, h.Root)
			return err
		})}
	return group("ledger", "The record of every signed action", newLedgerList(a), newLedgerVerify(a), head)
}

func newLedgerList(a *app) *cobra.Command {
	var most uint
	cmd := &cobra.Command{Use: "list [--most N]", Short: "Every entry, newest first", Args: cobra.NoArgs}
	cmd.Flags().UintVar(&most, "most", 0, "how many entries; all where left out")
	cmd.RunE = a.looks(func(_ context.Context, c *client.Client, _ []string) error {
		values, rows := []any{}, [][]string{{"ENTRY", "KIND", "ABOUT", "CAR", "WHO", "SIGNED AT", "ADMITTED AT"}}
		err := c.Events(0, func(e client.Event) bool {
			values = append(values, map[string]any{"entry": float64(e.Entry), "kind": e.Kind, "person": e.Person,
				"about": e.About, "job": float64(e.Of.Job), "plate": e.Plate, "signed_at": e.SignedAt, "admitted_at": e.AdmittedAt})
			rows = append(rows, []string{fmt.Sprint(e.Entry), e.Kind, client.OneLine(e.About), client.OneLine(e.Plate), client.OneLine(e.Person), e.SignedAt, e.AdmittedAt})
			return uint(len(values)) != most
		})
		if err != nil {
			return err
		}
		if a.json() {
			return a.printValues("events", values)
		}
		return columns(a.out, rows)
	})
	return cmd
}

func newLedgerVerify(a *app) *cobra.Command {
	var deep bool
	cmd := &cobra.Command{Use: "verify [--deep]", Short: "Judge every entry again, from the pinned genesis on", Args: cobra.NoArgs}
	cmd.Flags().BoolVar(&deep, "deep", false, "make every comparison again too, of all bytes that were not erased")
	cmd.RunE = a.acts(func(ctx context.Context, c *client.Client, _ []string) error {
		h, err := c.VerifyLedger(ctx, deep)
		if err != nil {
			return err
		}
		if a.json() {
			return a.printHead(c, h)
		}
		_, err = fmt.Fprintf(a.out, "%d entries from %s on: every one rightly admitted\nroot %s\n", h.Size, c.Fingerprint(), h.Root)
		return err
	})
	return cmd
}

func (a *app) printHead(c *client.Client, h client.Head) error {
	return a.printValues("entries", float64(h.Size), "root", h.Root, "fingerprint", c.Fingerprint())
}
