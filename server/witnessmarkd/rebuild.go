package main

import (
	"fmt"

	"github.com/spf13/cobra"

	"witnessmark/server"
)

func rebuildCommand() *cobra.Command {
	var (
		p          server.Place
		to         string
		withLosses bool
	)
	c := &cobra.Command{
		Use:   "rebuild {--data DIR | --database URL} --to DIR2 [--with-losses]",
		Short: "make a server's folder from the entries and blobs of another, or of a database",
		Long: `Make a server's folder from the entries, blobs and sealed texts of another one, on which
no server may run, or of a database. With --database the key in --data goes into DIR2 as well, and move
takes DIR2 into another, empty database.

All else in the store is made again, so that it may be damaged there. Each entry is judged by the rules
once more, the head must be the one that was signed last, and everything is checked before DIR2 is there;
DIR is left as it is. Images, reports and sealed texts that cannot be read any more are faults, and DIR2
is not made; --with-losses makes it all the same, and says what is lost (status 1).`,
		Args: cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			out, err := p.Rebuild(to, withLosses)
			if err != nil {
				return err
			}
			tell(c.OutOrStdout(), out)
			tellOfKey(c.OutOrStdout(), to, out)
			fmt.Fprintln(c.OutOrStdout(), out.Fingerprint)
			if len(out.Found) > 0 {
				return errNo
			}
			return nil
		},
	}
	placeFlags(c, &p, true)
	c.Flags().StringVar(&to, "to", "", "the new folder; it must not exist, or be empty")
	c.Flags().BoolVar(&withLosses, "with-losses", false, "go on without what cannot be read any more")
	_ = c.MarkFlagRequired("to")
	return c
}
