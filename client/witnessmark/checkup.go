package main

import (
	"fmt"

	"github.com/spf13/cobra"

	"witnessmark/client"
	workshops "witnessmark/client/workshop"
)

func newCheckUpCommand(a *app) *cobra.Command {
	var typed bool
	cmd := &cobra.Command{
		Use:   "check-up [--passphrase]",
		Short: "What is wrong with this machine's set-up, and what mends it",
		Long: "What is wrong with this machine's set-up, and what mends it: login, key, server, clock, versions, disks, your copy of the\n" +
			"ledger, actions without an answer, what killed processes left, and the last backup. Nothing is changed, and no server is\n" +
			"needed: what could not be asked is said to be unknown. A key that has a passphrase is opened only with --passphrase; without,\n" +
			"the server shows its key and tells no more. Exit status: 0 nothing is to be mended; 1 something is; 2 it could not be looked at.",
		Args: cobra.NoArgs,
	}
	cmd.Flags().BoolVar(&typed, "passphrase", false, "ask for your key's passphrase, so that the server can be asked how it is")
	cmd.RunE = func(cmd *cobra.Command, _ []string) error {
		home, err := a.home()
		if err != nil {
			return err
		}
		var ask client.Passphrase
		if typed {
			if ask = a.passphrase(); ask == nil {
				return usage("nobody is at a terminal to type a passphrase")
			}
		}
		found, err := client.CheckUp(cmd.Context(), home, workshops.Runs(home), ask)
		if err != nil {
			return err
		}
		return a.checkedUp(found)
	}
	return cmd
}

func (a *app) checkedUp(found []client.Checked) error {
	for _, c := range found {
		a.saidNo = a.saidNo || c.State == client.Mend
	}
	if a.json() {
		return a.printJSON(map[string]any{"checked": found}, nil)
	}
	for _, c := range found {
		if _, err := fmt.Fprintf(a.out, "%-7s  %s: %s\n", c.State, c.About, c.Says); err != nil {
			return err
		}
		if c.Try != "" {
			if _, err := fmt.Fprintf(a.out, "         try: %s\n", c.Try); err != nil {
				return err
			}
		}
	}
	return nil
}
