package main

import (
	"context"
	"fmt"
	"io"
	"strings"

	"github.com/spf13/cobra"

	"witnessmark/client"
	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/store/record"
)

func newReadCommand(a *app) *cobra.Command {
	return group("read", "Images taken out of the car", newReadAdd(a), newReadVoid(a))
}

func newReadAdd(a *app) *cobra.Command {
	var n client.NewRead
	cmd := &cobra.Command{Use: "add JOB FILE [--with-holes]", Short: "Add an image taken out of the car; the first one is the car as found", Args: takes(2)}
	cmd.Flags().BoolVar(&n.WithHoles, "with-holes", false, "take it although it lacks bytes that the definition names; no release can write those")
	format := fileFormat(cmd, byContent)
	cmd.RunE = a.acts(func(ctx context.Context, c *client.Client, args []string) (err error) {
		if n.Job, err = client.ParseJob(args[0]); err != nil {
			return err
		}
		if n.Format, err = format(); err != nil {
			return err
		}
		n.Path = args[1]
		r, report, err := c.AddRead(ctx, n)
		if err != nil {
			return err
		}
		if err := a.raised(c, r.GetAdded().GetEntry()); err != nil {
			return err
		}
		shown := &client.ReadReport{}
		if r.GetLastKnown().GetReportSha256() != "" {
			if shown, err = c.ReadReport(ctx, n.Job, r.GetNumber()); err != nil {
				return err
			}
		}
		j, err := c.Job(n.Job)
		if err != nil {
			return err
		}
		plates, err := c.OtherPlates(j)
		if err != nil {
			return err
		}
		return a.print(r, func(w io.Writer) error {
			fmt.Fprintf(w, "read %d of job %d, sha256 %s\n", r.GetNumber(), n.Job, r.GetImage().GetSha256())
			writeHoles(w, report.GetHoles())
			for _, h := range r.GetHoles() {
				fmt.Fprintf(w, "not in it, and of use: 0x%x to 0x%x\n", h.GetStart(), h.GetEnd())
			}
			if r.GetNumber() == record.AsFound(j).GetNumber() && len(plates) > 0 {
				fmt.Fprintf(w, "this car (number %d) was here before under another plate: %s\n", j.GetCar(), client.OneLine(strings.Join(plates, ", ")))
			}
			if k := r.GetLastKnown(); k != nil {
				fmt.Fprintln(w, lastKnownText(k))
				if shown.Changed != nil {
					writeSince(w, shown.Changed.Report)
				}
			}
			if report != nil {
				fmt.Fprintf(w, "judged by itself: %s\n", report.Verdict)
				return writeFindings(w, report)
			}
			return nil
		})
	})
	return cmd
}

func newReadVoid(a *app) *cobra.Command {
	cmd := &cobra.Command{Use: "void NAME --because TEXT", Short: "Take back a read (7.read1) that should not have been added", Args: takes(1)}
	because := a.because(cmd)
	cmd.RunE = a.acts(func(ctx context.Context, c *client.Client, args []string) error {
		name, err := nameOf(args[0])
		if err != nil {
			return err
		}
		if name.Part != record.ARead {
			return usage("%s is no read; a job's first read is %s", args[0], record.Name{Job: name.Job, Part: record.ARead, N: 1})
		}
		why, err := because()
		if err != nil {
			return err
		}
		j, err := c.VoidRead(ctx, name.Job, name.N, why)
		if err != nil {
			return err
		}
		return a.line(j, "voided %s", name)
	})
	return cmd
}

// writeHoles names the first few stretches that a file does not hold.
func writeHoles(w io.Writer, holes []*calibrationv1.Hole) {
	const most = 10
	for _, h := range holes[:min(most, len(holes))] {
		fmt.Fprintf(w, "not in it: %s to %s\n", client.OneLine(h.GetStart()), client.OneLine(h.GetEnd()))
	}
	if more := len(holes) - most; more > 0 {
		fmt.Fprintf(w, "not in it: %d stretches more\n", more)
	}
}

// writeSince says what somebody changed, one table a line.
func writeSince(w io.Writer, r *calibrationv1.Report) {
	for _, t := range r.GetTables() {
		text := fmt.Sprintf("%d of %d cells", t.Changed, t.Cells)
		if t.AxesChanged {
			text += ", and breakpoints"
		}
		fmt.Fprintf(w, "  changed since: %s, %s\n", client.OneLine(t.Id), text)
	}
	if n := r.GetBytes().GetUnmapped(); n > 0 {
		fmt.Fprintf(w, "  changed since, where no table is: bytes: %d\n", n)
	}
	for _, f := range r.GetIdentity() {
		if !f.Match {
			fmt.Fprintf(w, "  changed since: identity field %s\n", client.OneLine(f.Id))
		}
	}
}
