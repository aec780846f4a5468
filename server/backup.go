package server

import (
	"crypto/ed25519"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"

	"witnessmark/store"
	"witnessmark/store/bolt"
	"witnessmark/store/record"
)

// Backup writes a consistent copy of a ledger to a new file, whole or not at all. A server that runs on a folder
// makes it itself.
func (p Place) Backup(out string) (err error) {
	write := func(w io.Writer) error { return copyRunning(p.Dir, w) }
	p.scratch = filepath.Dir(out)
	h, err := p.open(true)
	switch {
	case err == nil:
		defer func() { err = errors.Join(err, h.close()) }()
		write = h.engine.Snapshot
	case !errors.Is(err, bolt.ErrHeld):
		return err
	}
	s, err := store.Stage(out, 0o600, write)
	if err == nil {
		err = s.CommitNew()
	}
	if err != nil {
		return fmt.Errorf("backup: %w", err)
	}
	return nil
}

// Restore makes a ledger's place from a backup and the server's key, which a backup does not hold.
// Everything in the backup is checked first, and then its head signed anew.
func (p Place) Restore(backup string, key ed25519.PrivateKey) (*Checked, error) {
	half, done, err := newFolder(p.Dir)
	if err != nil {
		return nil, err
	}
	defer done()
	path := backup
	if p.Database == "" {
		path = filepath.Join(half, storeFile)
		if err := copySynced(path, backup); err != nil {
			return nil, fmt.Errorf("the backup: %w", err)
		}
	}
	out, err := checkFile(path, false, func(tx store.ReadTx, s *record.State) error {
		switch {
		case !s.ServerKey().Equal(key.Public()):
			return errors.New("the key given is not the one that the backup's ledger names")
		case p.Database != "":
			return p.fillDatabase(half, key, func(w store.WriteTx) error { return copyStore(tx, w) })
		}
		return accompany(half, s, key)
	})
	if err != nil {
		return nil, fmt.Errorf("restore %s: %w", backup, err)
	}
	if p.Database == "" {
		err = putInPlace(half, p.Dir)
	}
	return out, err
}

// copySynced copies a file that may be larger than memory into a folder that is not in use yet.
func copySynced(to, from string) error {
	r, err := os.Open(from)
	if err != nil {
		return err
	}
	defer r.Close()
	w, err := os.OpenFile(to, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
	if err != nil {
		return err
	}
	_, err = io.Copy(w, r)
	return errors.Join(err, w.Sync(), w.Close())
}
