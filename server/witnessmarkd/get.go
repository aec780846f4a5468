package main

import (
	"github.com/spf13/cobra"

	"witnessmark/server"
)

func getCommand() *cobra.Command {
	var (
		p   server.Place
		out string
	)
	c := &cobra.Command{
		Use:   "get NAME {--data DIR | --database URL} --out FILE",
		Short: "write an image or a run of a ledger to a file: a working copy, never for a car",
		Long: `Write an image (7.2, 7.read1, 7.back1) or a run (7.run1) of a ledger to a file, as it is stored: an image
is raw bytes, gaps 0xFF. It is how a car's read as found is had from an archive. No server may run on the
folder; a database may be served meanwhile.`,
		Args: cobra.ExactArgs(1),
		RunE: func(_ *cobra.Command, args []string) error { return p.Extract(args[0], out) },
	}
	placeFlags(c, &p, true)
	c.Flags().StringVar(&out, "out", "", "the file to write; it must not exist")
	_ = c.MarkFlagRequired("out")
	return c
}
