package main

import (
	"context"
	"fmt"
	"io"
	"strings"

	"github.com/spf13/cobra"

	"witnessmark/client"
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
		Use:   "history PLATE [--table ID]",
		Short: "What was in a car when, who changed which table, who signed",
		Args:  takes(1),
		RunE: a.with(func(ctx context.Context, c *client.Client, args []string) error {
			h, err := c.History(ctx, args[0], table)
			if err != nil {
				return err
			}
			return a.print(h, func(w io.Writer) error {
				rows := [][]string{{"ENTRY", "WHEN", "WHO", "WHAT", "VERDICT", "TABLES"}}
				for _, e := range h.Events {
					rows = append(rows, []string{fmt.Sprint(e.Event.GetEntry()), e.Event.GetSignedAt(), clean(e.Event.GetPerson()),
						clean(e.What), e.Verdict, tablesOf(e)})
				}
				if err := columns(w, rows); err != nil {
					return err
				}
				if in := h.InCar; in != nil {
					fmt.Fprintf(w, "in the car: %s (%s)\n", ofJob(in.Job, in.Submission), in.KnownBy)
				}
				return nil
			})
		}),
	}
	cmd.Flags().StringVar(&table, "table", "", "only submissions that changed this table")
	return cmd
}
