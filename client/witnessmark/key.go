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
			var passphrase []byte
			if ask := a.passphrase(); ask != nil {
				var err error
				if passphrase, err = ask(args[0] + " (empty for none)"); err != nil {
					return err
				}
				again, err := ask(args[0] + ", once more")
				if err != nil {
					return err
				}
				if !bytes.Equal(again, passphrase) {
					return errors.New("the two passphrases differ; no key was made")
				}
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
