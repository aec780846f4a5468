package main

import (
	"context"
	"fmt"
	"io"

	"github.com/spf13/cobra"

	"witnessmark/client"
	"witnessmark/store/record"
	"witnessmark/tables/image"
)

func newGetCommand(a *app) *cobra.Command {
	var out client.Out
	cmd := &cobra.Command{
		Use:   "get NAME --out FILE",
		Short: "Take a working copy of an image or a run to the bench; never for a car",
		Long: "Take a working copy of an image or a run to the bench; never for a car.\n\n" +
			"NAME is a submission (7.2), a read (7.read1), a read-back (7.back1), a run (7.run1), or a job (7) for its\n" +
			"read as found. The bytes are held against the ledger. Nothing is entered and nothing is to be read back;\n" +
			"a file for a car comes from collect alone. What was looked at before needs no server.",
		Args: takes(1),
	}
	outFlags(cmd, &out.Path, &out.Replace)
	format := fileFormat(cmd, byEnding)
	cmd.RunE = a.looks(func(ctx context.Context, c *client.Client, args []string) error {
		name, err := nameOf(args[0])
		if err != nil {
			return err
		}
		f, err := format()
		if err == nil && name.Part != record.ARollingRoad {
			f, err = out.Format(f)
		}
		if err != nil {
			return err
		}
		if err := out.Free(); err != nil {
			return err
		}
		got, err := c.WorkingCopy(ctx, name, f)
		if err != nil {
			return err
		}
		if err := out.Write(got.File); err != nil {
			return err
		}
		return a.printCopy(got, out.Path)
	})
	return required(cmd, "out")
}

func (a *app) printCopy(got *client.WorkingCopy, path string) error {
	from := ""
	if got.From != nil {
		from = got.From.String()
	}
	if a.json() {
		return a.printValues("name", got.Name.String(), "state", got.State, "from", from, "sha256", got.SHA256,
			"file", path, "file_sha256", client.HashHex(got.File), "file_format", string(got.Format), "unknown", ranges(got.Unknown))
	}
	return writeCopy(a.out, got, path, from)
}

// ranges are addresses as reports write them.
func ranges(list []image.Range) []any {
	out := []any{}
	for _, r := range list {
		out = append(out, map[string]any{"start": fmt.Sprintf("0x%x", r.Start), "end": fmt.Sprintf("0x%x", r.End)})
	}
	return out
}

func writeCopy(w io.Writer, got *client.WorkingCopy, path, from string) error {
	state := ""
	if got.State != "" {
		state = " (" + got.State + ")"
	}
	fmt.Fprintf(w, "working copy of %s%s into %s: for the bench, never for a car\n", got.Name, state, path)
	if from != "" {
		fmt.Fprintf(w, "started from %s\n", from)
	}
	for _, r := range got.Unknown {
		fmt.Fprintf(w, "not known: 0x%x to 0x%x, filled with 0xff\n", r.Start, r.End)
	}
	if got.Format == "" {
		_, err := fmt.Fprintf(w, "sha256 %s\n", got.SHA256)
		return err
	}
	_, err := fmt.Fprintf(w, "image sha256 %s\nfile  sha256 %s\n", got.SHA256, client.HashHex(got.File))
	return err
}
