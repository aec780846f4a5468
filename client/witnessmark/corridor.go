package main

import (
	"context"
	"fmt"
	"io"

	"github.com/spf13/cobra"

	"witnessmark/client"
	"witnessmark/client/sheet"
	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/store/record"
)

func newCorridorCommand(a *app) *cobra.Command {
	return group("corridor", "Corridors: what a lead signs in advance for a day on the rolling road", newCorridorOpen(a), newCorridorClose(a), newCorridorShow(a))
}

func newCorridorClose(a *app) *cobra.Command {
	var keep, because string
	cmd := &cobra.Command{
		Use:   "close JOB [--keep NAME] [--because TEXT]",
		Short: "End a job's open corridor: nothing more is released by it",
		Long: "End a job's open corridor: nothing more is released by it.\n\n" +
			"With --keep one of its releases stays, the one that was collected last, and the others that nobody signed by themselves\n" +
			"are none any more. A lead is then asked for a sign-off of that one.",
		Args: takes(1),
	}
	cmd.Flags().StringVar(&keep, "keep", "", "the release that stays, such as 7.15")
	cmd.Flags().StringVar(&because, "because", "", "why; "+forEver)
	cmd.RunE = a.acts(func(ctx context.Context, c *client.Client, args []string) error {
		n, err := client.ParseJob(args[0])
		if err != nil {
			return err
		}
		closed, err := c.CloseCorridor(ctx, n, keep, because)
		if err != nil {
			return err
		}
		if err := a.raised(c, closed.GetClosed().GetEntry()); err != nil {
			return err
		}
		stays := ""
		if closed.GetKept() != 0 {
			stays = "; " + ofJob(n, closed.GetKept()) + " stays"
		}
		return a.line(closed, "closed %s%s", record.CorridorName(closed), stays)
	})
	return cmd
}

func newCorridorShow(a *app) *cobra.Command {
	return &cobra.Command{Use: "show JOB", Short: "A job's corridors, and what each released", Args: takes(1),
		RunE: a.looks(func(_ context.Context, c *client.Client, args []string) error {
			n, err := client.ParseJob(args[0])
			if err != nil {
				return err
			}
			j, err := c.Job(n)
			if err != nil {
				return err
			}
			if a.json() {
				list, err := messagesJSON(j.GetCorridors())
				return a.printJSON(map[string]any{"corridors": list}, err)
			}
			if len(j.GetCorridors()) == 0 {
				_, err := fmt.Fprintf(a.out, "job %d has no corridor\n", n)
				return err
			}
			for i, one := range j.GetCorridors() {
				if i > 0 {
					fmt.Fprintln(a.out)
				}
				if err := writeCorridor(a.out, c, j, one); err != nil {
					return err
				}
			}
			return nil
		})}
}

// writeCorridor writes a corridor that was signed, and its releases.
func writeCorridor(w io.Writer, c *client.Client, j *recordv1.Job, one *recordv1.Corridor) error {
	rows, err := c.CorridorRows(j, one)
	if err != nil {
		return err
	}
	rows = append([][]string{{"corridor", record.CorridorName(one)}, {"state", client.CorridorState(one)}, {"signed by", eventText(one.GetOpened())}}, rows...)
	if one.GetClosed() != nil {
		rows = append(rows, []string{"closed by", eventText(one.GetClosed())})
		if one.GetBecause() != "" {
			rows = append(rows, []string{"", client.OneLine(one.GetBecause())})
		}
	}
	if one.GetKept() != 0 {
		rows = append(rows, []string{"stays", ofJob(j.GetNumber(), one.GetKept())})
	}
	return columns(w, append(rows, releasedRows(j, one)...))
}

// releasedRows are the releases of a corridor, in the order in which they came.
func releasedRows(j *recordv1.Job, one *recordv1.Corridor) (rows [][]string) {
	for _, s := range j.GetSubmissions() {
		if s.GetByCorridor() != one.GetNumber() {
			continue
		}
		rows = append(rows, []string{"released " + client.Name(s), fmt.Sprintf("%s, %s, %s", s.GetState(), s.GetJudgement().GetVerdict(), eventText(s.GetSubmitted()))})
		if s.GetNote() != nil {
			rows = append(rows, []string{"", sheet.Sealed(s.GetNote())})
		}
	}
	return rows
}
