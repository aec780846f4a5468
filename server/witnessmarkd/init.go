package main

import (
	"crypto/ed25519"
	"fmt"
	"os"

	"github.com/spf13/cobra"

	"witnessmark/server"
	"witnessmark/store/signoff"
)

func initCommand() *cobra.Command {
	var (
		p             server.Place
		lead, keyFile string
		onePerson     bool
	)
	c := &cobra.Command{
		Use:   "init --data DIR [--database URL] --lead NAME --lead-key PUBFILE",
		Short: "make a new ledger with its first lead, and print its fingerprint",
		Long: `Make a new ledger with its first lead, and print its fingerprint.

With --database the ledger is made in a PostgreSQL database that holds none, and the folder gets the
server's key alone. Every further server of that database needs a folder with a copy of DIR/server.key.`,
		Args: cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			key, err := publicKey(keyFile)
			if err != nil {
				return err
			}
			fingerprint, err := p.Init(lead, key, onePerson)
			if err != nil {
				return err
			}
			_, err = fmt.Fprintln(c.OutOrStdout(), fingerprint)
			return err
		},
	}
	placeFlags(c, &p, false)
	leadFlags(c, &lead, &keyFile, &onePerson)
	return c
}

// leadFlags say with whom a ledger begins.
func leadFlags(c *cobra.Command, lead, keyFile *string, onePerson *bool) {
	c.Flags().StringVar(lead, "lead", "", "the first lead's name")
	c.Flags().StringVar(keyFile, "lead-key", "", "the first lead's public key, an OpenSSH file")
	c.Flags().BoolVar(onePerson, "one-person", false, "a one-person workshop, for good: its author may sign their own")
	_ = c.MarkFlagRequired("lead")
	_ = c.MarkFlagRequired("lead-key")
}

func publicKey(file string) (ed25519.PublicKey, error) {
	line, err := os.ReadFile(file)
	if err != nil {
		return nil, err
	}
	return signoff.ParsePublicKey(file, line)
}
