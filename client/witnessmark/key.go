package main

import (
	"bytes"
	"errors"
	"fmt"

	"github.com/spf13/cobra"

	"witnessmark/client"
	"witnessmark/store/signoff"
)

func newKeyCommand(a *app) *cobra.Command {
	return group("key", "Keys", &cobra.Command{
		Use:   "new FILE",
		Short: "Make an OpenSSH Ed25519 key, where ssh-keygen is not at hand",
		Args:  takes(1),
		RunE: func(_ *cobra.Command, args []string) error {
			passphrase, err := a.newPassphrase(args[0])
			if err != nil {
				return err
			}
			key, err := client.NewKey(args[0], "", passphrase)
			if err != nil {
				return err
			}
			if a.json() {
				return a.printValues("file", args[0], "public_key_file", args[0]+".pub", "fingerprint", string(signoff.Fingerprint(key)))
			}
			fmt.Fprintf(a.out, "%s and %s.pub\n%s\n", args[0], args[0], signoff.Fingerprint(key))
			return nil
		},
	})
}

// newPassphrase asks for that of a key that is to be made, twice; without a terminal it gets none.
func (a *app) newPassphrase(file string) ([]byte, error) {
	ask := a.passphrase()
	if ask == nil {
		return nil, nil
	}
	passphrase, err := ask(file + " (empty for none)")
	if err != nil {
		return nil, err
	}
	again, err := ask(file + ", once more")
	if err == nil && !bytes.Equal(again, passphrase) {
		err = errors.New("the two passphrases differ; no key was made")
	}
	return passphrase, err
}
