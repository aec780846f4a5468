package main

import (
	"context"
	"fmt"
	"io"

	"github.com/spf13/cobra"

	"witnessmark/client"
	"witnessmark/client/sheet"
	recordv1 "witnessmark/proto/witnessmark/record/v1"
	servicev1 "witnessmark/proto/witnessmark/service/v1"
)

func newDefinitionCommand(a *app) *cobra.Command {
	return documentCommand(a, client.Definitions, "Definitions: where the tables are in an image", newDefinitionCheck(a), newDefinitionCarry(a), newDefinitionImport(a), newDefinitionExport(a))
}

func newLimitsCommand(a *app) *cobra.Command {
	return documentCommand(a, client.Limits, "Limits: the rules that tables must keep", newLimitsCheck(a), newLimitsPropose(a))
}

// documentCommand is add, list and show of one kind, and what else there is of it.
func documentCommand(a *app, kind, short string, more ...*cobra.Command) *cobra.Command {
	add := &cobra.Command{Use: "add FILE", Short: "Add a revision", Args: takes(1),
		RunE: a.acts(func(ctx context.Context, c *client.Client, args []string) error {
			if err := a.tellDoubts(ctx, c, kind, args[0]); err != nil {
				return err
			}
			d, err := c.Unchanged(ctx, kind, args[0])
			if err != nil {
				return err
			}
			if d != nil {
				return a.line(d, "%s %s is revision %d already, byte for byte; nothing was added", kind, d.GetName(), d.GetRevision())
			}
			if d, _, err = c.AddDocument(ctx, kind, args[0]); err != nil {
				return err
			}
			if err := a.raised(c, d.GetAdded().GetEntry()); err != nil {
				return err
			}
			return a.line(d, "%s %s, revision %d", kind, d.GetName(), d.GetRevision())
		})}
	all := &cobra.Command{Use: "list", Short: "Every revision", Args: cobra.NoArgs,
		RunE: a.looks(func(_ context.Context, c *client.Client, _ []string) error {
			files, err := c.Documents(kind)
			if err != nil {
				return err
			}
			return a.print(&servicev1.CatalogListResponse{Files: files}, func(w io.Writer) error {
				rows := [][]string{{"NAME", "REVISION", "SHA-256", "ADDED BY", "ENTRY"}}
				for _, d := range files {
					rows = append(rows, []string{d.GetName(), fmt.Sprint(d.GetRevision()), d.GetSha256(), client.OneLine(d.GetAdded().GetPerson()), fmt.Sprint(d.GetAdded().GetEntry())})
				}
				return columns(w, rows)
			})
		})}
	return group(kind, short, append([]*cobra.Command{add, all, showCommand(a, kind)}, more...)...)
}

// tellDoubts says what is wrong or doubtful in a file beside the answer; what is wrong keeps it from being added.
func (a *app) tellDoubts(ctx context.Context, c *client.Client, kind, path string) error {
	all, err := c.Doubts(ctx, kind, path)
	if err != nil {
		return err
	}
	for _, d := range all {
		a.say(string(d.Severity) + ": " + d.Error())
	}
	return unusable(path, all)
}

// showCommand prints a revision's file, or what differs between two.
func showCommand(a *app, kind string) *cobra.Command {
	var revision, against uint32
	one := &cobra.Command{Use: "show NAME [--revision N] [--against REVISION]", Short: "A revision's file as it was added, or what changed since another", Args: takes(1)}
	one.Flags().Uint32Var(&revision, "revision", 0, "the revision to show, from 1; the newest if left out")
	one.Flags().Uint32Var(&against, "against", 0, "show only the lines that differ from this revision")
	one.RunE = a.looks(func(ctx context.Context, c *client.Client, args []string) error {
		d, b, err := c.Document(ctx, kind, args[0], revision)
		if err != nil {
			return err
		}
		if a.json() {
			return a.printValues("name", d.GetName(), "revision", float64(d.GetRevision()), "sha256", d.GetSha256(), "file", string(b))
		}
		if !one.Flags().Changed("against") {
			_, err := a.out.Write(b)
			return err
		}
		old, was, err := c.Document(ctx, kind, args[0], against)
		if err != nil {
			return err
		}
		title := func(d *recordv1.CatalogFile) string {
			return fmt.Sprintf("%s revision %d", d.GetName(), d.GetRevision())
		}
		return sheet.WriteDifference(a.out, title(old), title(d), string(was), string(b))
	})
	return one
}
