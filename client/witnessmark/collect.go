package main

import (
	"context"
	"fmt"
	"io"

	"github.com/spf13/cobra"

	"witnessmark/client"
)

func newCollectCommand(a *app) *cobra.Command {
	var q client.Collecting
	cmd := &cobra.Command{
		Use:   "collect JOB --out FILE [--fresh-read FILE] [--frame NUMBER]",
		Short: "Write the newest release, its bundle and its bay sheet, once everything about it holds",
		Args:  takes(1),
	}
	cmd.Flags().StringVar(&q.Out, "out", "", "the file to write")
	cmd.Flags().StringVar(&q.FreshRead, "fresh-read", "", "an image just read out of the car")
	cmd.Flags().StringVar(&q.Frame, "frame", "", "the car's frame number")
	format := fileFormat(cmd)
	cmd.RunE = a.with(func(ctx context.Context, c *client.Client, args []string) (err error) {
		if q.Job, err = client.ParseJob(args[0]); err != nil {
			return err
		}
		if q.Format, err = format(); err != nil {
			return err
		}
		got, err := c.Collect(ctx, q)
		if err != nil {
			return err
		}
		return a.print(got.Submission, func(w io.Writer) error {
			fmt.Fprintf(w, "collected %s into %s\nsha256 %s\n", client.Name(got.Submission), q.Out, got.FileSHA256)
			if got.Newer != nil {
				fmt.Fprintf(w, "a newer submission, %s, waits for its sign-off\n", client.Name(got.Newer))
			}
			_, err := fmt.Fprintf(w, "beside it: %s.bundle.zip and %s.sheet.txt\n", q.Out, q.Out)
			return err
		})
	})
	return required(cmd, "out")
}

func newOriginalCommand(a *app) *cobra.Command {
	var out string
	cmd := &cobra.Command{
		Use:   "original JOB --out FILE",
		Short: "Write a job's original, as it came out of the car",
		Args:  takes(1),
	}
	cmd.Flags().StringVar(&out, "out", "", "the file to write")
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
		r, err := c.Original(ctx, n, out, f)
		if err != nil {
			return err
		}
		return a.print(r, func(w io.Writer) error {
			_, err := fmt.Fprintf(w, "the original of job %d into %s, image sha256 %s\n", n, out, r.Image.GetSha256())
			return err
		})
	})
	return required(cmd, "out")
}
