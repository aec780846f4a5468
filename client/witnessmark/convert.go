package main

import (
	"fmt"
	"io"

	"github.com/spf13/cobra"

	"witnessmark/client"
	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/tables/image"
)

func newConvertCommand(a *app) *cobra.Command {
	var from string
	var origin uint32
	var replace bool
	c := &cobra.Command{
		Use:   "convert IN OUT",
		Short: "Write an image as another kind of file (needs no server)",
		Long: "Write an image as another kind of file. Needs no server.\n\n" +
			"A raw file holds no addresses: it begins at --origin, and gaps are written as 0xff.",
		Args: takes(2),
	}
	format := fileFormat(c, byEnding)
	replaceFlag(c, &replace)
	c.Flags().StringVar(&from, "in-format", "", formatUsage+"; "+byContent)
	c.Flags().Uint32Var(&origin, "origin", 0, "address of a raw file's first byte")
	c.RunE = func(_ *cobra.Command, args []string) error {
		out := client.Out{Path: args[1], Replace: replace, Given: args[:1]}
		target, err := format()
		if err == nil {
			target, err = out.Format(target)
		}
		if err != nil {
			return err
		}
		source, err := formatOr(from)
		if err != nil {
			return err
		}
		b, err := client.ReadBounded(args[0], client.MaxFile)
		if err != nil {
			return err
		}
		file, err := image.Decode(args[0], b, source, uint64(origin))
		if err != nil {
			return err
		}
		made, err := file.Encode(target)
		if err != nil {
			return fmt.Errorf("%s: %w", args[0], err)
		}
		if err := out.Write(made); err != nil {
			return err
		}
		m := &recordv1.Image{Sha256: client.HashHex(made), Size: uint32(len(made)), FileFormat: string(target), Ranges: image.Messages(file.Held())}
		return a.print(m, func(w io.Writer) error {
			for _, r := range file.Held() {
				fmt.Fprintf(w, "0x%x to 0x%x\n", r.Start, r.End)
			}
			return nil
		})
	}
	return c
}
