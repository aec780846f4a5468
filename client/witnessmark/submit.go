package main

import (
	"context"
	"fmt"
	"io"

	"github.com/spf13/cobra"

	"witnessmark/client"
)

func newSubmitCommand(a *app) *cobra.Command {
	var note, meant string
	cmd := &cobra.Command{
		Use:   "submit JOB FILE --note TEXT [--meant TABLE,…]",
		Short: "Submit a modified image; prints JOB.N and the verdict",
		Args:  takes(2),
	}
	cmd.Flags().StringVar(&note, "note", "", "what was changed, and why")
	cmd.Flags().StringVar(&meant, "meant", "", "the tables that were meant to change, with commas")
	format := fileFormat(cmd)
	cmd.RunE = a.with(func(ctx context.Context, c *client.Client, args []string) error {
		n, err := client.ParseJob(args[0])
		if err != nil {
			return err
		}
		f, err := format()
		if err != nil {
			return err
		}
		s, report, err := c.Submit(ctx, client.NewSubmission{Job: n, Path: args[1], Note: note, Format: f,
			MeantGiven: cmd.Flags().Changed("meant"), Meant: client.SplitList(meant)})
		if err != nil {
			return err
		}
		// A person at a terminal sees at once what was found; what is printed stays one line.
		if a.terminal() {
			if err := writeFindings(a.errOut, report); err != nil {
				return err
			}
		}
		return a.print(s, func(w io.Writer) error {
			_, err := fmt.Fprintf(w, "%s %s\n", client.Name(s), s.Judgement.GetVerdict())
			return err
		})
	})
	return required(cmd, "note")
}
