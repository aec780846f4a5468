package main

import (
	"context"

	"github.com/spf13/cobra"

	"witnessmark/client"
)

func newNoteCommand(a *app) *cobra.Command {
	var files []string
	cmd := &cobra.Command{
		Use:   "note NAME [TABLE] TEXT [--file FILE]…",
		Short: "Write what is to be said about a job, a submission or one of its tables",
		Args:  cobra.RangeArgs(2, 3),
	}
	cmd.Flags().StringArrayVar(&files, "file", nil, "a file that goes with it; may be repeated")
	cmd.RunE = a.acts(func(ctx context.Context, c *client.Client, args []string) error {
		about, err := nameOf(args[0])
		if err != nil {
			return err
		}
		n := client.NewNote{About: about, Text: args[len(args)-1], Files: files}
		if len(args) == 3 {
			n.Table = args[1]
		}
		j, err := c.AddNote(ctx, n)
		if err != nil {
			return err
		}
		return a.line(j.GetNotes()[len(j.GetNotes())-1], "noted about %s", about)
	})
	return cmd
}
