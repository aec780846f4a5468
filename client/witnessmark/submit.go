package main

import (
	"context"

	"github.com/spf13/cobra"

	"witnessmark/client"
	"witnessmark/tables/severity"
)

func newSubmitCommand(a *app) *cobra.Command {
	var note, meant, from string
	cmd := &cobra.Command{
		Use:   "submit JOB FILE --note TEXT [--from NAME] [--meant TABLE,…]",
		Short: "Submit a modified image; prints JOB.N and the verdict; status 1 where that is danger",
		Args:  takes(2),
	}
	cmd.Flags().StringVar(&note, "note", "", "what was changed, and why")
	cmd.Flags().StringVar(&meant, "meant", "", "the tables that were meant to change, with commas")
	cmd.Flags().StringVar(&from, "from", "", "the submission that you started from; left out, the read as found")
	format := fileFormat(cmd, byContent)
	cmd.RunE = a.acts(func(ctx context.Context, c *client.Client, args []string) error {
		n, err := client.ParseJob(args[0])
		if err != nil {
			return err
		}
		f, err := format()
		if err != nil {
			return err
		}
		base, err := startedFrom(n, from)
		if err != nil {
			return err
		}
		s, report, err := c.Submit(ctx, client.NewSubmission{Job: n, Path: args[1], Note: note, Format: f, From: base,
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
		a.saidNo = s.Judgement.GetVerdict() == string(severity.Danger) // entered, and nobody can sign it
		return a.line(s, "%s %s", client.Name(s), s.Judgement.GetVerdict())
	})
	return required(cmd, "note")
}

// startedFrom is the number of the submission in the job that an author started from; 0 is the read as found.
func startedFrom(job uint32, from string) (uint32, error) {
	if from == "" {
		return 0, nil
	}
	in, n, err := client.ParseSubmission(from)
	if err == nil && in != job {
		err = usage("--from %s: it is not of job %d", from, job)
	}
	return n, err
}
