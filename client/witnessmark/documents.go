package main

import (
	"context"
	"fmt"
	"io"

	"github.com/spf13/cobra"
	"google.golang.org/protobuf/proto"

	"witnessmark/client"
	"witnessmark/client/sheet"
	recordv1 "witnessmark/proto/witnessmark/record/v1"
	servicev1 "witnessmark/proto/witnessmark/service/v1"
)

func newDefinitionCommand(a *app) *cobra.Command {
	return documentCommand(a, client.Definitions, "Definitions: where the tables are in an image",
		func(d []*recordv1.Document) proto.Message { return &servicev1.ListDefinitionsResponse{Documents: d} },
		func(d *recordv1.Document, b []byte) proto.Message {
			return &servicev1.GetDefinitionResponse{Document: d, File: b}
		})
}

func newLimitsCommand(a *app) *cobra.Command {
	return documentCommand(a, client.Limits, "Limits: the rules that tables must keep",
		func(d []*recordv1.Document) proto.Message { return &servicev1.ListLimitsResponse{Documents: d} },
		func(d *recordv1.Document, b []byte) proto.Message {
			return &servicev1.GetLimitsResponse{Document: d, File: b}
		})
}

// documentCommand is add, list and show of one kind.
func documentCommand(a *app, kind, short string, list func([]*recordv1.Document) proto.Message, show func(*recordv1.Document, []byte) proto.Message) *cobra.Command {
	add := &cobra.Command{Use: "add FILE", Short: "Add a revision", Args: takes(1),
		RunE: a.with(func(ctx context.Context, c *client.Client, args []string) error {
			d, err := c.AddDocument(ctx, kind, args[0])
			if err != nil {
				return err
			}
			return a.print(d, func(w io.Writer) error {
				_, err := fmt.Fprintf(w, "%s %s, revision %d\n", kind, d.Name, d.Revision)
				return err
			})
		})}
	all := &cobra.Command{Use: "list", Short: "Every revision", Args: cobra.NoArgs,
		RunE: a.with(func(_ context.Context, c *client.Client, _ []string) error {
			docs := c.Documents(kind)
			return a.print(list(docs), func(w io.Writer) error {
				rows := [][]string{{"NAME", "REVISION", "SHA-256", "ADDED BY", "ENTRY"}}
				for _, d := range docs {
					rows = append(rows, []string{d.Name, fmt.Sprint(d.Revision), d.Sha256, clean(d.Added.GetPerson()), fmt.Sprint(d.Added.GetEntry())})
				}
				return columns(w, rows)
			})
		})}
	return group(kind, short, add, all, showCommand(a, kind, show))
}

// showCommand prints a revision's file, or what differs between two.
func showCommand(a *app, kind string, show func(*recordv1.Document, []byte) proto.Message) *cobra.Command {
	var revision, against uint32
	one := &cobra.Command{Use: "show NAME [--revision N] [--against REVISION]", Short: "A revision's file as it was added, or what changed since another", Args: takes(1)}
	one.Flags().Uint32Var(&revision, "revision", 0, "the revision to show, from 1; the newest if left out")
	one.Flags().Uint32Var(&against, "against", 0, "show only the lines that differ from this revision")
	one.RunE = a.with(func(ctx context.Context, c *client.Client, args []string) error {
		d, b, err := c.Document(ctx, kind, args[0])
		if err == nil && one.Flags().Changed("revision") {
			d, b, err = c.DocumentRevision(ctx, kind, args[0], revision)
		}
		if err != nil {
			return err
		}
		if !one.Flags().Changed("against") {
			return a.print(show(d, b), func(w io.Writer) error {
				_, err := w.Write(b)
				return err
			})
		}
		old, was, err := c.DocumentRevision(ctx, kind, args[0], against)
		if err != nil {
			return err
		}
		return a.print(show(d, b), func(w io.Writer) error {
			return sheet.WriteDifference(w, fmt.Sprintf("%s revision %d", old.Name, old.Revision), fmt.Sprintf("%s revision %d", d.Name, d.Revision), string(was), string(b))
		})
	})
	return one
}
