package main

import (
	"context"
	"fmt"
	"io"

	"github.com/spf13/cobra"

	"witnessmark/client"
)

func newLedgerCommand(a *app) *cobra.Command {
	list := &cobra.Command{Use: "list", Short: "Every entry", Args: cobra.NoArgs,
		RunE: a.with(func(_ context.Context, c *client.Client, _ []string) error {
			events := c.Events()
			if a.json() {
				return a.printValues("events", eventValues(events))
			}
			rows := [][]string{{"ENTRY", "KIND", "WHO", "SIGNED AT", "ADMITTED AT"}}
			for _, e := range events {
				rows = append(rows, []string{fmt.Sprint(e.Entry), e.Kind, clean(e.Person), e.SignedAt, e.AdmittedAt})
			}
			return columns(a.out, rows)
		})}
	verify := &cobra.Command{Use: "verify", Short: "Judge every entry again, from the pinned genesis on", Args: cobra.NoArgs,
		RunE: a.with(func(ctx context.Context, c *client.Client, _ []string) error {
			head, err := c.VerifyLedger(ctx)
			if err != nil {
				return err
			}
			if a.json() {
				return a.printValues("entries", float64(head.Size), "root", head.Root, "fingerprint", c.Fingerprint())
			}
			_, err = fmt.Fprintf(a.out, "%d entries from %s on: every one rightly admitted\nroot %s\n", head.Size, c.Fingerprint(), head.Root)
			return err
		})}
	return group("ledger", "The record of every signed action", list, verify)
}

func newVerifyCommand(a *app) *cobra.Command {
	var fingerprint string
	cmd := &cobra.Command{
		Use:   "verify BUNDLE [--fingerprint F]",
		Short: "Check a bundle without a server",
		Args:  takes(1),
		RunE: func(_ *cobra.Command, args []string) error {
			home, err := a.home()
			if err != nil {
				return err
			}
			v, err := client.VerifyBundle(home, args[0], fingerprint)
			if err != nil {
				return err
			}
			return a.print(v.Submission, func(w io.Writer) error {
				fmt.Fprintf(w, "%s of car %s: signed by %s, %s; image sha256 %s\n", client.Name(v.Submission), clean(v.Job.Car),
					clean(v.Submission.Signed.GetPerson()), v.Report.Verdict, v.Submission.Image.GetSha256())
				if v.Newer != nil {
					fmt.Fprintf(w, "a newer release, %s, took its place\n", client.Name(v.Newer))
				}
				_, err := fmt.Fprintf(w, "holds against the ledger %s (%d entries)\n", v.Fingerprint, v.Entries)
				return err
			})
		},
	}
	cmd.Flags().StringVar(&fingerprint, "fingerprint", "", "the ledger's fingerprint, as init printed it; without it the one you pinned")
	return cmd
}

func eventValues(events []client.Event) []any {
	out := []any{}
	for _, e := range events {
		out = append(out, map[string]any{"entry": float64(e.Entry), "kind": e.Kind, "person": e.Person,
			"signed_at": e.SignedAt, "admitted_at": e.AdmittedAt})
	}
	return out
}
