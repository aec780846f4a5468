package client

import (
	"crypto"
	"errors"
	"os"
	"path/filepath"
)

// OwnKey is a person's key at the beginning: a file that is there, or one that is made.
type OwnKey struct {
	// Path is of a private key, or of the public key of one that ssh-agent holds.
	Path string
	// Ask is asked for the passphrase of a key that is there, New for that of a key that is made; nil makes one without.
	Ask, New Passphrase
}

// KeyPath is where a person's key is made unless they say where.
func (h *Home) KeyPath() string { return h.path("key") }

// LoggedIn says whether a ledger was pinned in the folder.
func (h *Home) LoggedIn() bool { return FileExists(h.path(configFile)) }

// Open opens the key, and makes it where there is none; undo takes away what was made.
func (k OwnKey) Open() (signer crypto.Signer, undo func() error, err error) {
	undo = func() error { return nil }
	if FileExists(k.Path) {
		signer, err = LoadSigner(k.Path, k.Ask)
		return signer, undo, err
	}
	var passphrase []byte
	if k.New != nil {
		if passphrase, err = k.New(k.Path); err != nil {
			return nil, nil, err
		}
	}
	if err := os.MkdirAll(filepath.Dir(k.Path), 0o700); err != nil {
		return nil, nil, err
	}
	if _, err := NewKey(k.Path, "", passphrase); err != nil {
		return nil, nil, err
	}
	undo = func() error { return errors.Join(removed(k.Path), removed(k.Path+".pub")) }
	signer, err = LoadSigner(k.Path, func(string) ([]byte, error) { return passphrase, nil })
	if err != nil {
		err = errors.Join(err, undo())
	}
	return signer, undo, err
}
