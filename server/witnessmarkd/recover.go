package main

import (
	"fmt"
	"path/filepath"

	"github.com/spf13/cobra"

	"witnessmark/server"
)

func recoverCommand() *cobra.Command {
	var (
		p           server.Place
		to, keyFile string
		r           server.Recovery
	)
	c := &cobra.Command{
		Use:   "recover {--data DIR | --database URL} --to DIR2 --lead NAME --lead-key PUBFILE [--one-person] [--with-losses]",
		Short: "begin a new ledger that names the old one's head, after the last lead's or the server's key was lost",
		Long: `Begin a new ledger whose first entry names the head of the old one, where that cannot go on: the last
lead's key, or the server's, is lost or in other hands.

The old ledger is checked and lies in DIR2/archive from then on: check and backup look at it there, and
nobody can add to it. Nothing of it is taken over. People are enrolled and log in anew, cars get new
numbers, and releases of the old ledger are not collected from the new one. The newest definitions and
limits are written out as files, for the lead to add again. DIR is left as it is; keep it as well. What is
erased later is erased in the new ledger alone: what must be forgotten of the old one goes with its archive.
The new ledger is a folder's also where the old one was in a database; move takes it into an empty one.`,
		Args: cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) (err error) {
			if r.LeadKey, err = publicKey(keyFile); err != nil {
				return err
			}
			out, err := p.Recover(to, r)
			if err != nil {
				return err
			}
			w := c.OutOrStdout()
			tell(w, out.Old)
			fmt.Fprintf(w, "the old ledger, %s, ends there; it is in %s\n", out.Old.Fingerprint, filepath.Join(to, "archive"))
			for _, file := range out.Files {
				fmt.Fprintln(w, "to be added again:", filepath.Join(to, file))
			}
			fmt.Fprintln(w, "everybody is enrolled and logs in anew:")
			fmt.Fprintln(w, out.Fingerprint)
			if len(out.Old.Found) > 0 {
				return errNo
			}
			return nil
		},
	}
	placeFlags(c, &p, true)
	c.Flags().StringVar(&to, "to", "", "the new folder; it must not exist, or be empty")
	leadFlags(c, &r.Lead, &keyFile, &r.OnePerson)
	c.Flags().BoolVar(&r.WithLosses, "with-losses", false, "go on although the old ledger has faults")
	_ = c.MarkFlagRequired("to")
	return c
}
