package main

import (
	"fmt"

	"github.com/spf13/cobra"

	"witnessmark/server"
)

func backupCommand() *cobra.Command {
	var (
		p   server.Place
		out string
	)
	c := &cobra.Command{
		Use:   "backup {--data DIR | --database URL} --out FILE",
		Short: "copy a ledger to a file, whether it is served or not; the server's key is not in it",
		Args:  cobra.NoArgs,
		RunE:  func(*cobra.Command, []string) error { return p.Backup(out) },
	}
	placeFlags(c, &p, true)
	c.Flags().StringVar(&out, "out", "", "the file to write; it must not exist")
	_ = c.MarkFlagRequired("out")
	return c
}

func restoreCommand() *cobra.Command {
	var (
		p           server.Place
		in, keyFile string
	)
	c := &cobra.Command{
		Use:   "restore --data DIR [--database URL] --in FILE --server-key PRIVFILE",
		Short: "make a server's folder, or fill a database, from a backup and the server's key",
		Long: `Make a server's folder from a backup and the server's key; with --database the ledger goes into a
database that holds none, and the folder gets the key alone. Where the backup was made of does not matter.

A backup does not hold the server's key: it is DIR/server.key of the server that made it, and a copy
of that must have been kept somewhere else. The whole backup is checked first; then its head is
signed anew, and told with its age. Clients that have seen more than the backup holds will not accept
it: then a newer backup is looked for, or else the ledger is begun anew with recover.`,
		Args: cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			key, err := server.ReadKey(keyFile)
			if err != nil {
				return err
			}
			out, err := p.Restore(in, key)
			if err != nil {
				return err
			}
			tell(c.OutOrStdout(), out)
			_, err = fmt.Fprintf(c.OutOrStdout(), "whoever saw more than that will not accept this server; what came later must be signed again\n%s\n", out.Fingerprint)
			return err
		},
	}
	placeFlags(c, &p, false)
	c.Flags().StringVar(&in, "in", "", "the backup")
	c.Flags().StringVar(&keyFile, "server-key", "", "the server's private key, kept apart from its backups")
	_ = c.MarkFlagRequired("in")
	_ = c.MarkFlagRequired("server-key")
	return c
}
