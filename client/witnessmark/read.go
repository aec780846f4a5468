package main

import (
	"context"
	"fmt"
	"io"

	"github.com/spf13/cobra"

	"witnessmark/client"
	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/image"
)

func newReadCommand(a *app) *cobra.Command {
	var format func() (image.Format, error)
	add := &cobra.Command{Use: "add JOB FILE", Short: "Add an image taken out of the car; the first one is the original", Args: takes(2)}
	format = fileFormat(add)
	add.RunE = a.with(func(ctx context.Context, c *client.Client, args []string) error {
		n, err := client.ParseJob(args[0])
		if err != nil {
			return err
		}
		f, err := format()
		if err != nil {
			return err
		}
		r, report, err := c.AddRead(ctx, n, args[1], f)
		if err != nil {
			return err
		}
		since, err := c.Since(ctx, r.LastKnown)
		if err != nil {
			return err
		}
		return a.print(r, func(w io.Writer) error {
			fmt.Fprintf(w, "read %d of job %d, sha256 %s\n", r.Number, n, r.Image.GetSha256())
			if k := r.LastKnown; k != nil {
				fmt.Fprintln(w, lastKnownText(k))
				writeSince(w, since)
			}
			if report != nil {
				fmt.Fprintf(w, "judged by itself: %s\n", report.Verdict)
				return writeFindings(w, report)
			}
			return nil
		})
	})
	return group("read", "Images taken out of the car", add)
}

// writeSince says what somebody changed, one table a line.
func writeSince(w io.Writer, r *calibrationv1.Report) {
	for _, t := range r.GetTables() {
		text := fmt.Sprintf("%d of %d cells", t.Changed, t.Cells)
		if t.AxesChanged {
			text += ", and breakpoints"
		}
		fmt.Fprintf(w, "  changed since: %s, %s\n", clean(t.Id), text)
	}
	if n := r.GetBytes().GetUnmapped(); n > 0 {
		fmt.Fprintf(w, "  changed since, where no table is: bytes: %d\n", n)
	}
	for _, f := range r.GetIdentity() {
		if !f.Match {
			fmt.Fprintf(w, "  changed since: identity field %s\n", clean(f.Id))
		}
	}
}
