package main

import (
	"fmt"
	"io"
	"strings"

	"github.com/spf13/cobra"

	"witnessmark/client"
	"witnessmark/client/sheet"
)

func newVerifyCommand(a *app) *cobra.Command {
	var fingerprint string
	cmd := &cobra.Command{
		Use:   "verify FILE.proof.zip [--fingerprint F]",
		Short: "Check a release's proof without a server",
		Args:  takes(1),
		RunE: func(_ *cobra.Command, args []string) error {
			home, err := a.home()
			if err != nil {
				return err
			}
			v, err := client.VerifyProof(home, args[0], fingerprint)
			if err != nil {
				return err
			}
			return a.print(v.Submission, func(w io.Writer) error { return writeVerified(w, v) })
		},
	}
	cmd.Flags().StringVar(&fingerprint, "fingerprint", "", "the ledger's fingerprint, as init printed it; without it the one you pinned")
	return cmd
}

func writeVerified(w io.Writer, v *client.Verified) error {
	yes := "signed by " + client.OneLine(v.Yes.By.GetPerson())
	if v.Yes.Corridor != nil {
		yes = v.Yes.InAdvance(v.Yes.By.GetSignedAt())
	}
	fmt.Fprintf(w, "%s of car %s: %s, %s; image sha256 %s\n", client.Name(v.Submission), sheet.Sealed(v.Job.GetPlate()), yes, v.Report.GetVerdict(),
		v.Submission.GetImage().GetSha256())
	if v.Yes.Corridor != nil {
		fmt.Fprintf(w, "each cell lies inside the corridor, for maps of %s from %s: %s\n", client.OneLine(strings.Join(v.Yes.Corridor.GetAsked().GetAuthors(), ", ")),
			client.CorridorStart(v.Job, v.Yes.Corridor.GetAsked()), strings.Join(client.SomeTables(client.Bounds(v.Yes.Corridor.GetAsked()), mostLines), "; "))
	}
	if v.Yes.ByAuthor {
		fmt.Fprintf(w, "signed by its author: %s\n", client.OneLine(v.Yes.Reason))
	}
	fmt.Fprintf(w, "holds against the ledger %s (%d entries)\n", v.Fingerprint, v.Entries)
	if v.Newer != nil {
		fmt.Fprintf(w, "a newer release, %s, took its place\n", client.Name(v.Newer))
	}
	if v.Known == nil {
		_, err := fmt.Fprintln(w, "whether it was recalled since is not known here")
		return err
	}
	_, err := fmt.Fprintf(w, "not recalled, as far as your copy of the ledger goes (%d entries)\n", v.Known.Size)
	return err
}
