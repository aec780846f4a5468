package main

import (
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	"witnessmark/client"
)

func newLoginCommand(a *app) *cobra.Command {
	var key, fingerprint, head string
	cmd := &cobra.Command{
		Use:   "login HOST:PORT[,HOST:PORT…] --key FILE",
		Short: "Pin a ledger, and say which key is yours",
		Long: "Pin a ledger, and say which key is yours.\n\n" +
			"Where several servers have one ledger, give all their addresses: commands and the desk use the one that answered last,\n" +
			"and go on with another when it does not answer. Each must show the same key; one that does not answer now is kept, and said.",
		Args: takes(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			home, err := a.home()
			if err != nil {
				return err
			}
			c, err := client.Login(cmd.Context(), home, args[0], key, a.passphrase(), a.confirm(fingerprint), head)
			if err != nil {
				return err
			}
			defer c.Close()
			return a.loggedIn(c)
		},
	}
	cmd.Flags().StringVar(&key, "key", "", "your private key, or the public key of one that ssh-agent holds")
	cmd.Flags().StringVar(&fingerprint, "fingerprint", "", "the ledger's fingerprint, as init printed it")
	cmd.Flags().StringVar(&head, "head", "", "SIZE:ROOT that a colleague has seen of the ledger, as ledger head prints it")
	return required(cmd, "key")
}

// loggedIn says as whom, and what is to be known of it.
func (a *app) loggedIn(c *client.Client) error {
	me, err := c.Me()
	if err != nil {
		return err
	}
	if c.Before != "" {
		a.say("what was here of the ledger that this one goes on from is in " + c.Before)
	}
	for _, why := range c.Silent {
		a.say(why + "; it is kept, and asked when another does not answer")
	}
	return a.line(me, "logged in as %s (%s) to %s", me.Name, strings.Join(me.Roles, ", "), c.Fingerprint())
}

// confirm compares the fingerprint with the one given, or asks whoever sits at the terminal.
func (a *app) confirm(given string) func(string) error {
	if given != "" {
		return client.Confirming(given)
	}
	return func(got string) error {
		if !a.terminal() {
			return &client.Error{Kind: client.Usage, Text: "nobody is at a terminal to compare the ledger's fingerprint",
				Try: "--fingerprint F, as init printed it"}
		}
		answer, err := a.ask(fmt.Sprintf("the ledger's fingerprint is\n%s\nis this the one that init printed? (yes/no) ", got))
		if err != nil {
			return err
		}
		if answer != "yes" {
			return &client.Error{Kind: client.Refused, Text: "the fingerprint was not confirmed"}
		}
		return nil
	}
}
