package main

import (
	"context"
	"fmt"
	"io"
	"strings"

	"github.com/spf13/cobra"

	"witnessmark/client"
	"witnessmark/client/sheet"
	recordv1 "witnessmark/proto/witnessmark/record/v1"
)

// tablesOf names the tables where the submission comes; what follows is about the same ones.
func tablesOf(e *recordv1.CarEvent) string {
	if e.Event.GetKind() != "submission" {
		return ""
	}
	return strings.Join(e.Tables, ",")
}

func newHistoryCommand(a *app) *cobra.Command {
	var table string
	cmd := &cobra.Command{
		Use:   "history PLATE|FRAME [--table ID]",
		Short: "What was in a car when, who changed which table, who signed",
		Args:  takes(1),
		RunE: a.looks(func(ctx context.Context, c *client.Client, args []string) error {
			cars, err := c.Cars(args[0])
			if err != nil {
				return err
			}
			for _, car := range cars {
				h, err := c.History(ctx, car, table)
				if err != nil {
					return err
				}
				if err := a.print(h, func(w io.Writer) error { return writeHistory(w, h) }); err != nil {
					return err
				}
			}
			return nil
		}),
	}
	cmd.Flags().StringVar(&table, "table", "", "only submissions that changed this table")
	return cmd
}

func writeHistory(w io.Writer, h *recordv1.CarHistory) error {
	fmt.Fprintf(w, "car %s (number %d)\n", sheet.Sealed(h.GetPlate()), h.GetCar())
	rows := [][]string{{"ENTRY", "WHEN", "WHO", "WHAT", "VERDICT", "TABLES"}}
	for _, e := range h.GetEvents() {
		rows = append(rows, []string{fmt.Sprint(e.GetEvent().GetEntry()), e.GetEvent().GetSignedAt(), client.OneLine(e.GetEvent().GetPerson()),
			client.OneLine(e.GetWhat()), e.GetVerdict(), tablesOf(e)})
	}
	if err := columns(w, rows); err != nil {
		return err
	}
	if in := h.GetInCar(); in != nil {
		fmt.Fprintf(w, "in the car: %s\n", inCarText(in))
	}
	return nil
}
