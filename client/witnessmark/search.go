package main

import (
	"context"
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	"witnessmark/client"
	"witnessmark/client/sheet"
)

func newSearchCommand(a *app) *cobra.Command {
	var most int
	cmd := &cobra.Command{
		Use:   "search TEXT [--most N]",
		Short: "Where plates, parts, notes, reasons, table names and names of notes' files have these words, the newest job first",
		Long: "Where plates, parts, notes, reasons, table names and names of notes' files have these words, the newest job first.\n\n" +
			"A job is found where each word begins one of its own; of a plate any part will do. What was erased is found no more.",
		Args: func(c *cobra.Command, args []string) error {
			if len(args) == 0 {
				return takes(1)(c, args)
			}
			return nil
		},
	}
	mostFlag(cmd, &most)
	cmd.RunE = a.looks(func(_ context.Context, c *client.Client, args []string) error {
		hits, left, err := c.Search(strings.Join(args, " "), most)
		if err != nil {
			return err
		}
		if a.json() {
			values := []any{}
			for _, h := range hits {
				values = append(values, map[string]any{"name": h.Of.String(), "job": float64(h.Of.Job), "car": float64(h.Job.GetCar()),
					"plate": h.Job.GetPlate().GetText(), "what": h.What, "text": h.Text})
			}
			return a.printValues("hits", values, "more", float64(left))
		}
		if len(hits) == 0 {
			_, err := fmt.Fprintln(a.out, "nothing found")
			return err
		}
		rows := [][]string{{"NAME", "CAR", "WHAT", "TEXT"}}
		for _, h := range hits {
			rows = append(rows, []string{h.Of.String(), sheet.Sealed(h.Job.GetPlate()), h.What, client.OneLine(h.Text)})
		}
		if err := columns(a.out, rows); err != nil {
			return err
		}
		return more(a.out, left, " jobs")
	})
	return cmd
}
