package server

import (
	"crypto/ed25519"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"time"

	"witnessmark/store"
	"witnessmark/store/bolt"
	"witnessmark/store/record"
)

// Backup writes a consistent copy of a ledger to a new file, whole or not at all, and notes when that was. A server
// that runs on a folder makes it itself.
func (p Place) Backup(out string) (err error) {
	p.scratch = filepath.Dir(out)
	var write func(io.Writer) error
	var note func() error
	h, err := p.open(true)
	switch {
	case err == nil:
		defer func() { err = errors.Join(err, h.close()) }()
		write, note = h.engine.Snapshot, func() error { return h.backedUp(time.Now()) }
	case errors.Is(err, bolt.ErrHeld):
		a, err := askRunning(p.Dir)
		if err != nil {
			return fmt.Errorf("backup: %w", err)
		}
		defer a.Close()
		write, note = a.writeTo, a.isTaken
	default:
		return err
	}
	s, err := store.Stage(out, 0o600, write)
	if err == nil {
		err = s.CommitNew()
	}
	if err != nil {
		return fmt.Errorf("backup: %w", err)
	}
	if err := note(); err != nil && p.Log != nil {
		p.Log.Info("the backup is whole, and that it was made could not be noted: " + oneLine(err))
	}
	return nil
}

// backedUp keeps when the last backup was finished, also where the one before has a later time: a clock was wrong then. Whoever
// made it may be another user than the one who serves: the time is no secret.
func (f *folder) backedUp(at time.Time) error {
	s, err := store.Stage(filepath.Join(f.dir, backupFile), 0o644, func(w io.Writer) error {
		_, err := fmt.Fprintln(w, at.UTC().Format(time.RFC3339))
		return err
	})
	if err != nil {
		return err
	}
	return s.Commit()
}

func (f *folder) lastBackup() (at time.Time, elsewhere bool, err error) {
	b, err := os.ReadFile(filepath.Join(f.dir, backupFile))
	if errors.Is(err, fs.ErrNotExist) {
		return at, false, nil
	}
	if err == nil {
		at, err = time.Parse(time.RFC3339, strings.TrimSpace(string(b)))
	}
	if err != nil {
		err = fmt.Errorf("when the last backup was: %w", err)
	}
	return at, false, err
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
