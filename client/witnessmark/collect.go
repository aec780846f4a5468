package main

import (
	"context"
	"fmt"
	"io"

	"github.com/spf13/cobra"

	"witnessmark/client"
	"witnessmark/store/record"
)

func newCollectCommand(a *app) *cobra.Command {
	var q client.Collecting
	cmd := &cobra.Command{
		Use:   "collect JOB|NAME [--as-found] --out FILE [--fresh-read FILE] [--frame NUMBER]",
		Short: "Write a release, its proof and its bay sheet, once everything about it holds",
		Long: "Write a release, its proof and its bay sheet, once everything about it holds.\n\n" +
			"A job's number alone is its newest release; where several people have releases in a job, say which (7.2).\n" +
			"--as-found writes the image as it came out of the car, which needs no signature.\n" +
			"For the bench, where no car is near, there is get.",
		Args: takes(1),
	}
	outFlags(cmd, &q.Out, &q.Replace)
	cmd.Flags().BoolVar(&q.AsFound, "as-found", false, "the job's read as found, in place of a release")
	cmd.Flags().StringVar(&q.FreshRead, "fresh-read", "", "an image just read out of the car")
	cmd.Flags().StringVar(&q.Frame, "frame", "", "the car's frame number")
	format := fileFormat(cmd, byEnding)
	cmd.RunE = a.acts(func(ctx context.Context, c *client.Client, args []string) error {
		name, err := nameOf(args[0])
		if err != nil {
			return err
		}
		if name.Part != record.TheJob && (q.AsFound || name.Part != record.ASubmission) {
			return usage("%s: what is collected is a release (7.2), the newest one of a job (7), or with --as-found a job's read", args[0])
		}
		if q.Format, err = format(); err != nil {
			return err
		}
		q.Job, q.Submission = name.Job, name.N
		got, err := c.Collect(ctx, q)
		if err != nil {
			return err
		}
		if q.AsFound {
			return a.line(got.Read, "%s into %s, image sha256 %s", ofJob(q.Job, 0), q.Out, got.Read.GetImage().GetSha256())
		}
		return a.print(got.Submission, func(w io.Writer) error {
			fmt.Fprintf(w, "collected %s into %s\nsha256 %s\n", client.Name(got.Submission), q.Out, got.FileSHA256)
			for _, s := range got.Newer {
				fmt.Fprintf(w, "a newer submission, %s, is %s\n", client.Name(s), s.GetState())
			}
			_, err := fmt.Fprintf(w, "beside it: %s.proof.zip and %s.sheet.txt\n", q.Out, q.Out)
			return err
		})
	})
	return required(cmd, "out")
}
