package main

import (
	"errors"
	"fmt"

	"github.com/spf13/cobra"

	"witnessmark/server"
)

func moveCommand() *cobra.Command {
	var p server.Place
	c := &cobra.Command{
		Use:   "move --data DIR --database URL",
		Short: "take the ledger of a server's folder over into a PostgreSQL database",
		Long: `Take the ledger of a server's folder over into a PostgreSQL database that holds none. The server must not
be running.

It is the same ledger afterwards: nobody logs in anew, and no client notices. All of it is copied in one
transaction and then compared, and the folder is marked: from the moment before the copy on, nothing
serves, checks or copies it any more. Ended in the middle, run it again: it goes on, or begins again.

Afterwards serve the database: serve --data DIR --database URL. Of DIR only server.key is needed then, by
each server a copy. What is erased later is not erased from DIR/ledger.db: once the database has a backup
of its own, remove that file.`,
		Args: cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			if p.Database == "" {
				return errors.New(`required flag(s) "database" not set`)
			}
			out, err := p.Move()
			if err != nil {
				return err
			}
			w := c.OutOrStdout()
			if out.GoneOn {
				fmt.Fprintf(w, "the ledger of %s was in %s already, and has gone on there\n", p.Dir, out.To)
			} else {
				fmt.Fprintf(w, "%d entries, %d blobs and %d documents are in %s, and are what was in %s\n", out.Entries, out.Blobs, out.Documents, out.To, p.Dir)
			}
			_, err = fmt.Fprintf(w, "head %s\n%s\n", out.Head, out.Fingerprint)
			return err
		},
	}
	placeFlags(c, &p, false)
	return c
}
