package main

import (
	"errors"
	"fmt"
	"io"
	"os"

	"github.com/spf13/cobra"

	"witnessmark/client"
	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/store"
	"witnessmark/tables/image"
)

func newConvertCommand(a *app) *cobra.Command {
	var to, from string
	var origin uint32
	c := &cobra.Command{
		Use:   "convert IN OUT --file-format raw|ihex|srec",
		Short: "Write an image as another kind of file (needs no server)",
		Long: "Write an image as another kind of file. Needs no server.\n\n" +
			"A raw file holds no addresses: it begins at --origin, and gaps are written as 0xff.",
		Args: takes(2),
		RunE: func(_ *cobra.Command, args []string) error {
			if to == "" {
				return errors.New("--file-format is needed: raw, ihex or srec")
			}
			target, err := image.ParseFormat(to)
			if err != nil {
				return err
			}
			source, err := formatOrDetect(from)
			if err != nil {
				return err
			}
			b, err := os.ReadFile(args[0])
			if err != nil {
				return err
			}
			file, err := image.Decode(args[0], b, source, uint64(origin))
			if err != nil {
				return err
			}
			out, err := file.Encode(target)
			if err != nil {
				return fmt.Errorf("%s: %w", args[0], err)
			}
			if err := store.WriteSynced(args[1], out); err != nil {
				return err
			}
			made := &recordv1.Image{Sha256: client.HashHex(out), Size: uint32(len(out)), FileFormat: string(target),
				Ranges: image.Messages(file.Held())}
			return a.print(made, func(w io.Writer) error {
				for _, r := range file.Held() {
					fmt.Fprintf(w, "0x%x to 0x%x\n", r.Start, r.End)
				}
				return nil
			})
		},
	}
	c.Flags().StringVar(&to, "file-format", "", "raw, ihex or srec (required)")
	c.Flags().StringVar(&from, "in-format", "", "raw, ihex or srec; detected by content if left out")
	c.Flags().Uint32Var(&origin, "origin", 0, "address of a raw file's first byte")
	return c
}
