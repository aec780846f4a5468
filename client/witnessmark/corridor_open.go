package main

import (
	"context"
	"fmt"
	"io"

	"github.com/spf13/cobra"

	"witnessmark/client"
	"witnessmark/client/sheet"
	"witnessmark/store/record"
	"witnessmark/tables/severity"
)

func newCorridorOpen(a *app) *cobra.Command {
	var p client.CorridorPlan
	var yes bool
	cmd := &cobra.Command{
		Use:   "open JOB [--from NAME] --author PERSON… --table ID=UP:DOWN… --maps N [--most notice|caution] [--because TEXT] [--yes]",
		Short: "Sign in advance, for a day on the rolling road: what lies inside is released when it is submitted",
		Long: "Sign in advance, for a day on the rolling road: what lies inside is released when it is submitted.\n\n" +
			"Only the tables that are named may change, each cell by so much up and down of where the corridor starts, in the table's own\n" +
			"unit; breakpoints and everything else stay. A map outside, or of somebody else, or with a worse verdict waits for a sign-off\n" +
			"as ever. A warning is never covered. Once definition, limits, fuel or numbers of the job change, nothing more is covered.",
		Args: takes(1),
	}
	f := cmd.Flags()
	f.StringVar(&p.From, "from", "", "the release that it starts from, such as 7.2; left out, the read as found")
	f.StringArrayVar(&p.Authors, "author", nil, "whose maps it covers; may be repeated (required)")
	f.StringArrayVar(&p.Tables, "table", nil, "ID=UP:DOWN, a table and how far each of its cells may go; may be repeated (required)")
	f.StringVar(&p.Most, "most", string(severity.Caution), "the worst verdict that it covers: notice or caution")
	f.Uint32Var(&p.Maps, "maps", 0, "how many maps it releases (required)")
	f.StringVar(&p.Reason, "because", "", "why; in a one-person workshop needed, where you are the author; "+forEver)
	f.BoolVar(&yes, "yes", false, "do not ask")
	cmd.RunE = a.acts(func(ctx context.Context, c *client.Client, args []string) error {
		var err error
		if p.Job, err = client.ParseJob(args[0]); err != nil {
			return err
		}
		d, err := c.DraftCorridor(ctx, p)
		if err != nil {
			return err
		}
		if !a.json() {
			if err := writeDraft(a.errOut, c, d); err != nil {
				return err
			}
		}
		if !yes {
			if err := a.confirmed("Sign this?"); err != nil {
				return err
			}
		}
		opened, err := c.SignCorridor(ctx, d)
		if err != nil {
			return err
		}
		return a.line(opened, "opened %s", record.CorridorName(opened))
	})
	return required(cmd, "author", "table", "maps")
}

// writeDraft writes what a corridor will say, before it is signed.
func writeDraft(w io.Writer, c *client.Client, d *client.CorridorDraft) error {
	j, err := c.Job(d.Corridor.GetJob())
	if err != nil {
		return err
	}
	rows, err := c.CorridorRows(j, d.Corridor)
	if err != nil {
		return err
	}
	fmt.Fprintf(w, "corridor %s of car %s, as it will be signed\n", record.CorridorName(d.Corridor), sheet.Sealed(j.GetPlate()))
	if err := columns(w, rows); err != nil {
		return err
	}
	_, err = fmt.Fprintln(w, client.CorridorMeans)
	return err
}
