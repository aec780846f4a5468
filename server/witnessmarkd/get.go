package main

import (
	"github.com/spf13/cobra"

	"witnessmark/server"
)

func getCommand() *cobra.Command {
	var dir, out string
	c := &cobra.Command{
		Use:   "get NAME --data DIR --out FILE",
		Short: "write an image or a run of a ledger that is not served to a file: a working copy, never for a car",
		Long: `Write an image (7.2, 7.read1, 7.back1) or a run (7.run1) of a ledger that is not served to a file, as it
is stored: an image is raw bytes, gaps 0xFF. It is how a car's read as found is had from an archive.`,
		Args: cobra.ExactArgs(1),
		RunE: func(_ *cobra.Command, args []string) error { return server.Extract(dir, args[0], out) },
	}
	dataFlag(c, &dir)
	c.Flags().StringVar(&out, "out", "", "the file to write; it must not exist")
	_ = c.MarkFlagRequired("out")
	return c
}
