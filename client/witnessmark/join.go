package main

import (
	"context"
	"fmt"
	"path/filepath"

	"github.com/spf13/cobra"

	"witnessmark/client"
	workshops "witnessmark/client/workshop"
	"witnessmark/store/signoff"
)

func newJoinCommand(a *app) *cobra.Command {
	var name, roles, key string
	var noWait bool
	cmd := &cobra.Command{
		Use:   "join ['LINE' --name NAME --role technician|calibrator|lead[,…]] [--key FILE] [--no-wait]",
		Short: "Join a workshop by its invitation; prints the line for the lead, and waits until they have enrolled you",
		Long: "Join a workshop by its invitation; prints the line for the lead, and waits until they have enrolled you.\n\n" +
			"LINE is what person invite printed. A key is made where there is none. Once you are enrolled, the ledger must have the\n" +
			"fingerprint and the head of the invitation: then you are logged in. join without LINE goes on where it was.",
		Args: cobra.MaximumNArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			home, err := a.home()
			if err != nil {
				return err
			}
			var j *client.Joining
			if len(args) == 1 {
				j, err = a.beginJoining(cmd.Context(), home, args[0], name, client.SplitList(roles), key)
			} else if name+roles+key != "" {
				return usage("--name, --role and --key go with an invitation: join 'LINE' --name NAME --role ROLE")
			} else {
				j, err = a.goOnJoining(home)
			}
			if err == nil {
				err = a.introduce(j)
			}
			if err != nil || noWait && len(args) == 1 {
				return err
			}
			c, err := a.enrolled(cmd, j, noWait)
			if err != nil {
				return err
			}
			defer c.Close()
			return a.loggedIn(c)
		},
	}
	cmd.Flags().StringVar(&name, "name", "", "your name, as it stands in the ledger for ever")
	cmd.Flags().StringVar(&roles, "role", "", "technician, calibrator, lead; several with commas")
	cmd.Flags().StringVar(&key, "key", "", "your private key, made where there is none, or the public key of one that ssh-agent holds; key in your folder where left out")
	cmd.Flags().BoolVar(&noWait, "no-wait", false, "end at once; join goes on")
	return cmd
}

func (a *app) beginJoining(ctx context.Context, home *client.Home, line, name string, roles []string, key string) (*client.Joining, error) {
	i, err := client.ParseInvitation(line)
	if err != nil {
		return nil, err
	}
	if name == "" || len(roles) == 0 {
		return nil, usage("who joins says --name NAME and --role ROLE")
	}
	if key == "" {
		key = home.KeyPath()
	}
	if err := workshops.Abandon(ctx, home); err != nil {
		return nil, err
	}
	return client.BeginJoining(home, i, name, roles, client.OwnKey{Path: key, Ask: a.passphrase(), New: a.newPassphrase})
}

func (a *app) goOnJoining(home *client.Home) (*client.Joining, error) {
	j, err := client.JoiningIn(home)
	switch {
	case err != nil:
		return nil, err
	case j == nil:
		return nil, &client.Error{Kind: client.Usage, Text: "nobody is joining in " + home.Dir, Try: "witnessmark join 'LINE' --name NAME --role ROLE, with the line that the lead sends you"}
	}
	return j, j.Unlock(a.passphrase())
}

// introduce prints the line for the lead.
func (a *app) introduce(j *client.Joining) error {
	key, err := signoff.ParsePublicKey(j.Key, []byte(j.Introduction.Key))
	if err != nil {
		return err
	}
	print := signoff.Fingerprint(key)
	if a.json() {
		return a.printValues("introduction", j.Introduction.String(), "file", j.Key, "fingerprint", string(print))
	}
	a.aside("", fmt.Sprintf("your key is %s, and its fingerprint %s\nsend this line to the lead, who enrols you by it; read them the fingerprint when they ask:", filepath.ToSlash(j.Key), print))
	_, err = fmt.Fprintln(a.out, j.Introduction)
	return err
}

// enrolled waits for the lead, or looks once.
func (a *app) enrolled(cmd *cobra.Command, j *client.Joining, once bool) (*client.Client, error) {
	c, err := j.Try(cmd.Context())
	if once || !client.Later(err) {
		return c, err
	}
	a.aside("", "waiting for the lead; stop with Ctrl-C, and go on with: witnessmark join")
	return j.Wait(cmd.Context(), func(err error) { a.say(fmt.Sprintf("%v; it is asked again", err)) })
}
