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
	var bay bayFlags
	cmd := &cobra.Command{
		Use:   "collect JOB|NAME [--as-found] --out FILE [--fresh-read FILE] [--frame NUMBER] | collect JOB --follow [--to FILE]",
		Short: "Write a release, its proof and its bay sheet, once everything about it holds",
		Long: "Write a release, its proof and its bay sheet, once everything about it holds.\n\n" +
			"A job's number alone is its newest release; where several people have releases in a job, say which (7.2).\n" +
			"--as-found writes the image as it came out of the car, which needs no signature.\n" +
			"--follow offers each new release of a job at the car, with what differs from the one before; Enter writes it. It goes on\n" +
			"when the server comes back, and says what is still to be read back when it ends. Without --not-read-back the next one\n" +
			"waits until the last one was read back.\n" +
			"For the bench, where no car is near, there is get.",
		Args: takes(1),
	}
	outFlags(cmd, &q.Out, &q.Replace)
	cmd.Flags().BoolVar(&q.AsFound, "as-found", false, "the job's read as found, in place of a release")
	cmd.Flags().StringVar(&q.FreshRead, "fresh-read", "", "an image just read out of the car")
	cmd.Flags().StringVar(&q.Frame, "frame", "", "the car's frame number")
	bay.add(cmd)
	cmd.PreRunE = bay.check
	format := fileFormat(cmd, byEnding)
	step := func(ctx context.Context, c *client.Client, args []string) error {
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
		if bay.follow {
			if name.Part != record.TheJob {
				return usage("%s: --follow takes a job's number (7)", args[0])
			}
			return a.followBay(ctx, c, q, bay)
		}
		got, err := c.Collect(ctx, q)
		if err != nil {
			return err
		}
		if q.AsFound {
			return a.line(got.Read, "%s into %s, image sha256 %s", ofJob(q.Job, 0), q.Out, got.Read.GetImage().GetSha256())
		}
		return a.print(got.Submission, func(w io.Writer) error { return writeCollected(w, got, q.Out) })
	}
	cmd.RunE = func(cmd *cobra.Command, args []string) error {
		if bay.follow { // it waits for a server that is away
			return a.looks(step)(cmd, args)
		}
		return a.acts(step)(cmd, args)
	}
	return cmd
}

// writeCollected says what was written, and what else somebody may mean.
func writeCollected(w io.Writer, got *client.Collected, out string) error {
	fmt.Fprintf(w, "collected %s into %s\nsha256 %s\n", client.Name(got.Submission), out, got.FileSHA256)
	for _, s := range got.Newer {
		fmt.Fprintf(w, "a newer submission, %s, is %s\n", client.Name(s), s.GetState())
	}
	_, err := fmt.Fprintf(w, "beside it: %s.proof.zip and %s.sheet.txt\n", out, out)
	return err
}
