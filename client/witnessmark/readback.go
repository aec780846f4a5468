package main

import (
	"context"
	"fmt"
	"io"

	"github.com/spf13/cobra"

	"witnessmark/client"
	"witnessmark/client/sheet"
)

func newReadbackCommand(a *app) *cobra.Command {
	var why string
	cmd := &cobra.Command{
		Use:   "readback JOB FILE | readback JOB --not-possible TEXT",
		Short: "Compare what is in the car after writing with what was collected",
		Args:  cobra.RangeArgs(1, 2),
	}
	cmd.Flags().StringVar(&why, "not-possible", "", "why this controller cannot be read back")
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
		impossible := cmd.Flags().Changed("not-possible")
		if impossible == (len(args) == 2) {
			return usage("readback takes either a file, or --not-possible TEXT")
		}
		var found *client.Found
		if impossible {
			found, err = c.NotPossible(ctx, n, why)
		} else {
			found, err = c.Readback(ctx, n, args[1], f)
		}
		if err != nil {
			return err
		}
		b := found.Readback
		if err := a.raised(c, b.GetAdded().GetEntry()); err != nil {
			return err
		}
		return a.print(b, func(w io.Writer) error {
			said := ofJob(n, b.Submission) + ": " + backText(b)
			if found.Report == nil {
				_, err := fmt.Fprintln(w, said)
				return err
			}
			return sheet.WriteDiffering(w, found.Report, asWritten, asFoundInCar, sheet.Options{Layout: found.Layout, Base: found.Written, Candidate: found.Actual,
				Width: a.width(), Heading: []string{andIs(said, found.Is), found.Why}})
		})
	})
	return cmd
}

// The two sides of a read-back that differs.
const (
	asWritten    = "what was written"
	asFoundInCar = "what was found"
)

// andIs is a line that also says which known image something is, where it is one.
func andIs(line, is string) string {
	if is == "" {
		return line
	}
	return line + "; " + is
}
