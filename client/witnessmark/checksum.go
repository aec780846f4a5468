package main

import (
	"fmt"

	"github.com/spf13/cobra"

	"witnessmark/client"
	"witnessmark/tables/definition"
	"witnessmark/tables/image"
)

func newChecksumCommand(a *app) *cobra.Command {
	return group("checksum", "Checksums that an image holds over its own bytes", newChecksumFix(a))
}

func newChecksumFix(a *app) *cobra.Command {
	var defPath, in string
	var out client.Out
	var only []string
	c := &cobra.Command{
		Use:   "fix IMAGE --definition FILE --out FILE",
		Short: "Write a copy of an image with right checksums, for the bench (needs no server)",
		Long: "Write a copy of an image with right checksums, for the bench: it is another image, and no release. Needs no server.\n\n" +
			"Each checksum is computed after those whose bytes it covers; what was wrong is said. The image itself stays as it is.",
		Args: takes(1),
	}
	outFlags(c, &out.Path, &out.Replace)
	format := fileFormat(c, byEnding)
	c.Flags().StringVar(&defPath, "definition", "", "definition file (required)")
	c.Flags().StringVar(&in, "in-format", "", formatUsage+"; "+byContent)
	c.Flags().StringSliceVar(&only, "only", nil, "put right only these checksums, by their ids")
	c.RunE = func(_ *cobra.Command, args []string) error {
		out.Given = []string{args[0], defPath}
		target, err := format()
		if err == nil {
			target, err = out.Format(target)
		}
		if err == nil {
			err = out.Free()
		}
		if err != nil {
			return err
		}
		lay, err := loadDefinition(defPath)
		if err != nil {
			return err
		}
		im, err := loadImage(args[0], in, lay)
		if err != nil {
			return err
		}
		right, done, err := lay.Restamp(im, only)
		if err != nil {
			return fmt.Errorf("%s: %w", args[0], err)
		}
		file, err := right.Encode(target)
		if err != nil {
			return err
		}
		if err := out.Write(file); err != nil {
			return err
		}
		return a.printFixed(out.Path, right, done, lay.WrongSums(right))
	}
	return required(c, "definition", "out")
}

// printFixed says what was put right, and what is still wrong since it was not asked for.
func (a *app) printFixed(path string, im *image.Image, fixed, wrong []definition.WrongSum) error {
	if a.json() {
		return a.printValues("file", path, "sha256", string(im.SHA256()), "fixed", sumValues(fixed), "wrong", sumValues(wrong))
	}
	fmt.Fprintf(a.out, "copy with right checksums into %s: for the bench, never for a car\nimage sha256 %s\n", path, im.SHA256())
	for _, s := range fixed {
		fmt.Fprintf(a.out, "checksum %s at 0x%x: %s, was %s\n", s.ID, s.Address, s.Computed, s.Stored)
	}
	if len(fixed) == 0 {
		fmt.Fprintln(a.out, "none was to be put right")
	}
	for _, s := range wrong {
		fmt.Fprintf(a.out, "checksum %s at 0x%x is wrong and was left: %s, computed is %s\n", s.ID, s.Address, s.Stored, s.Computed)
	}
	return nil
}

func sumValues(list []definition.WrongSum) []any {
	out := []any{}
	for _, s := range list {
		out = append(out, map[string]any{"id": s.ID, "address": fmt.Sprintf("0x%x", s.Address), "stored": s.Stored, "computed": s.Computed})
	}
	return out
}
