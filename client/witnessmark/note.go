package main

import (
	"context"
	"fmt"
	"io"
	"path/filepath"
	"strings"
	"unicode"

	"github.com/spf13/cobra"

	"witnessmark/client"
	"witnessmark/client/sheet"
	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/store/record"
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
	cmd.AddCommand(newNoteShow(a))
	return cmd
}

func newNoteShow(a *app) *cobra.Command {
	var out string
	var replace bool
	cmd := &cobra.Command{
		Use:   "show NAME [--out FOLDER [--replace]]",
		Short: "The notes about a job and all in it, or about one submission; --out takes their files out",
		Long: "The notes about a job and all in it, or about one submission; --out takes their files out.\n\n" +
			"Files are other people's: they are written as JOB-NOTE-NAME, with only letters, digits, dots and hyphens of\n" +
			"their name, and never run.",
		Args: takes(1),
	}
	cmd.Flags().StringVar(&out, "out", "", "a folder that is there already")
	cmd.Flags().BoolVar(&replace, "replace", false, "write over files that are there")
	cmd.RunE = a.looks(func(ctx context.Context, c *client.Client, args []string) error {
		about, err := nameOf(args[0])
		if err != nil {
			return err
		}
		j, err := c.Job(about.Job)
		if err != nil {
			return err
		}
		if out != "" {
			if err := a.takeFiles(ctx, c, j, about, client.Out{Path: out, Replace: replace}); err != nil {
				return err
			}
		}
		shown := &recordv1.Job{Number: j.Number, Car: j.Car, Plate: j.Plate}
		for _, n := range j.GetNotes() {
			if isAbout(n, about) {
				shown.Notes = append(shown.Notes, n)
			}
		}
		return a.print(shown, func(w io.Writer) error {
			var rows [][]string
			for _, n := range shown.GetNotes() {
				rows = append(rows, noteRows(j, n)...)
			}
			if len(rows) == 0 {
				_, err := fmt.Fprintf(w, "no notes about %s\n", about)
				return err
			}
			return columns(w, rows)
		})
	})
	return cmd
}

// isAbout says whether a note is shown with a job or a submission; all are with the job.
func isAbout(n *recordv1.Note, about record.Name) bool {
	return about.Part == record.TheJob || about.Part == record.ASubmission && n.GetSubmission() == about.N
}

// takeFiles writes the files of notes into a folder, and says where.
func (a *app) takeFiles(ctx context.Context, c *client.Client, j *recordv1.Job, about record.Name, folder client.Out) error {
	for i, n := range j.GetNotes() {
		if !isAbout(n, about) {
			continue
		}
		for _, f := range n.GetFiles() {
			b, err := c.NoteFile(ctx, f)
			if err != nil {
				return err
			}
			to := client.Out{Path: filepath.Join(folder.Path, fmt.Sprintf("%d-%d-%s", j.GetNumber(), i+1, harmless(sheet.Sealed(f.GetName())))), Replace: folder.Replace}
			if err := to.Write(b); err != nil {
				return err
			}
			a.aside("", "wrote "+to.Path)
		}
	}
	return nil
}

// harmless is a file's name without what a shell or a file system could take for something else.
func harmless(name string) string {
	return strings.Map(func(r rune) rune {
		if unicode.IsLetter(r) || unicode.IsDigit(r) || strings.ContainsRune(".-_", r) {
			return r
		}
		return '_'
	}, name)
}
