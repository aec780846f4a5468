package main

import (
	"context"
	"fmt"
	"io"
	"strings"

	"github.com/spf13/cobra"

	"witnessmark/client"
	"witnessmark/client/sheet"
	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
)

func newSheetCommand(a *app) *cobra.Command {
	var table, against string
	c := &cobra.Command{
		Use:         "sheet JOB.N [--table ID] [--against JOB.M]",
		Short:       "A submission's report, made again here, for a person to read",
		Args:        takes(1),
		Annotations: csvAllowed,
	}
	c.Flags().StringVar(&table, "table", "", "show this changed table whole")
	c.Flags().StringVar(&against, "against", "", "show how the author's note differs from another submission's")
	c.RunE = a.looks(func(ctx context.Context, cl *client.Client, args []string) error {
		r, err := review(ctx, cl, args[0])
		if err != nil {
			return err
		}
		o := a.sheetOf(cl, r)
		if o.Table = table; table != "" && o.Layout.ByID[table] == nil {
			return fmt.Errorf("--table %s: definition %s has no such table", table, o.Layout.Name)
		}
		runs, err := cl.Runs(ctx, r.Job.GetNumber(), "before")
		if err != nil {
			return err
		}
		_, candidate := r.Images()
		o.Visited = sheet.Visits(r.Report, r.Layout(), candidate, client.Recordings(runs))
		if against != "" {
			other, err := review(ctx, cl, against)
			if err != nil {
				return err
			}
			var b strings.Builder
			if err := sheet.WriteDifference(&b, "note of "+client.Name(other.Submission), "note of "+client.Name(r.Submission), sheet.Sealed(other.Submission.GetNote()), sheet.Sealed(r.Submission.GetNote())); err != nil {
				return err
			}
			o.Heading = append(o.Heading, strings.TrimRight(b.String(), "\n"))
		}
		return a.printReport(r.Report, o)
	})
	return c
}

func review(ctx context.Context, c *client.Client, arg string) (*client.Review, error) {
	job, n, err := client.ParseSubmission(arg)
	if err != nil {
		return nil, err
	}
	return c.Review(ctx, job, n)
}

// sheetOf is a submission's sheet: what it is, above its report.
func (a *app) sheetOf(c *client.Client, r *client.Review) sheet.Options {
	s := r.Submission
	heading := []string{
		fmt.Sprintf("submission %s of car %s, by %s: %s", client.Name(s), sheet.Sealed(r.Job.GetPlate()), clean(s.GetSubmitted().GetPerson()), s.GetState()),
		"started from " + ofJob(s.GetJob(), s.GetFrom()),
		"note: " + sheet.Sealed(s.GetNote()),
	}
	for _, al := range inForce(r.Job.GetAlarms()) {
		if al.GetAbout() == client.Name(s) {
			heading = append(heading, alarmText(al))
		}
	}
	if r.ByNewer {
		heading = append(heading, fmt.Sprintf("compared again, since what it is judged by changed: %s when it was submitted, %s now",
			s.GetJudgement().GetVerdict(), r.Judgement.GetVerdict()))
	}
	base, candidate := r.Images()
	return sheet.Options{Layout: r.Layout(), Base: base, Candidate: candidate, Width: a.width(), Heading: heading, OnePerson: c.OnePerson()}
}

// writeFindings writes a report's findings, one a line.
func writeFindings(w io.Writer, r *calibrationv1.Report) error {
	for _, f := range r.Findings {
		if _, err := fmt.Fprintf(w, "%-8s %s  %s\n", f.Severity, client.Key(f), clean(f.Reason+" "+f.Detail)); err != nil {
			return err
		}
	}
	return nil
}
