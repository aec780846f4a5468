package main

import (
	"fmt"

	"github.com/spf13/cobra"

	"witnessmark/server"
)

func checkCommand() *cobra.Command {
	var dir string
	c := &cobra.Command{
		Use:   "check --data DIR",
		Short: "rebuild everything from entries and blobs, and compare; the server must not be running",
		Args:  cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			out, err := server.Check(dir)
			if err != nil {
				return err
			}
			w := c.OutOrStdout()
			for _, line := range out.Found {
				fmt.Fprintln(w, line)
			}
			if len(out.Found) > 0 {
				fmt.Fprintf(w, "%d entries and %d blobs looked at: %d faults\n", out.Entries, out.Blobs, len(out.Found))
				return errNo
			}
			_, err = fmt.Fprintf(w, "%d entries and %d blobs looked at: all is well\n%s\n", out.Entries, out.Blobs, out.Fingerprint)
			return err
		},
	}
	dataFlag(c, &dir)
	return c
}
