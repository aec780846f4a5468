package main

import (
	"context"

	"github.com/spf13/cobra"

	"witnessmark/client"
	"witnessmark/tables/severity"
)

func newSubmitCommand(a *app) *cobra.Command {
	var note, meant, from string
	var follow bool
	cmd := &cobra.Command{
		Use:   "submit JOB FILE --note TEXT [--from NAME] [--meant TABLE,…] | submit JOB FILE --follow",
		Short: "Submit a modified image; prints JOB.N and the verdict; status 1 where that is danger",
		Long: "Submit a modified image; prints JOB.N and the verdict; status 1 where that is danger.\n\n" +
			"--follow watches the file: each time it was saved with another image it says what changed and what was found, asks for\n" +
			"a note, and submits what it showed; Escape passes it over. Each one is said to have started from the one before.",
		Args: takes(2),
		PreRunE: func(cmd *cobra.Command, _ []string) error {
			switch given := cmd.Flags().Changed("note"); {
			case follow && given:
				return usage("--note does not go with --follow, which asks for one each time")
			case !follow && !given:
				return usage("--note TEXT is needed, or --follow")
			}
			return nil
		},
	}
	cmd.Flags().BoolVar(&follow, "follow", false, "go on, and submit the file each time that it was saved and Enter is pressed")
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
		asked := client.NewSubmission{Job: n, Path: args[1], Note: note, Format: f, From: base,
			MeantGiven: cmd.Flags().Changed("meant"), Meant: client.SplitList(meant)}
		if follow {
			return a.followSaves(ctx, c, asked)
		}
		s, report, err := c.Submit(ctx, asked)
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
		if err := a.line(s, "%s %s", client.Name(s), s.Judgement.GetVerdict()); err != nil || a.json() {
			return err
		}
		return a.inCorridor(ctx, c, s)
	})
	return cmd
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
