package main

import (
	"context"
	"fmt"
	"io"

	"github.com/spf13/cobra"

	"witnessmark/client"
	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
)

func newSheetCommand(a *app) *cobra.Command {
	return &cobra.Command{
		Use:   "sheet JOB.N",
		Short: "A submission's report, made again here, for a person to read",
		Args:  cobra.ExactArgs(1),
		RunE: a.with(func(ctx context.Context, c *client.Client, args []string) error {
			r, err := review(ctx, c, args[0])
			if err != nil {
				return err
			}
			return a.print(r.Report, func(w io.Writer) error { return writeSheet(w, r) })
		}),
	}
}

func review(ctx context.Context, c *client.Client, arg string) (*client.Review, error) {
	job, n, err := client.ParseSubmission(arg)
	if err != nil {
		return nil, err
	}
	return c.Review(ctx, job, n)
}

// writeSheet writes what a submission is, and its report.
func writeSheet(w io.Writer, r *client.Review) error {
	s := r.Submission
	fmt.Fprintf(w, "submission %s of car %s, by %s: %s\n", client.Name(s), clean(r.Job.Car), clean(s.Submitted.GetPerson()), s.State)
	fmt.Fprintf(w, "note: %s\n", clean(s.Note))
	if r.ByNewer {
		fmt.Fprintln(w, "compared again: the definition or the limits got a newer revision since it was submitted")
	}
	return writeReport(w, r.Report)
}

// writeFindings writes a report's findings, one a line.
func writeFindings(w io.Writer, r *calibrationv1.Report) error {
	for _, f := range r.Findings {
		if _, err := fmt.Fprintf(w, "%-8s %s  %s %s\n", f.Severity, client.Key(f), clean(f.Reason), clean(f.Detail)); err != nil {
			return err
		}
	}
	return nil
}

func writeReport(w io.Writer, r *calibrationv1.Report) error {
	fmt.Fprintf(w, "verdict: %s\n", r.Verdict)
	for _, t := range r.Tables {
		fmt.Fprintf(w, "table %s: %d of %d cells changed\n", t.Id, t.Changed, t.Cells)
	}
	return writeFindings(w, r)
}
