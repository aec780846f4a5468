package server

import (
	"bytes"
	"context"
	"crypto/ed25519"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"time"

	"witnessmark/store"
	"witnessmark/store/bolt"
	"witnessmark/store/held"
	"witnessmark/store/ledger"
	"witnessmark/store/record"
	"witnessmark/store/signoff"
)

// What lies in a server's folder.
const (
	storeFile      = "ledger.db"
	keyFile        = "server.key"
	checkpointFile = "checkpoint"
	spoolFolder    = "spool"
	erasingFile    = "erasing"     // there while the store's file may hold what was erased
	reserveFile    = "reserve"     // nothing but room on the disk
	backupFile     = "last-backup" // when one was finished
)

// folder is the keeper of a ledger in a server's folder.
type folder struct {
	dir       string
	kept      []byte                          // the checkpoint in its own file; nil in the archive of a database
	lookAt    func() error                    // at every page of the store's file, and at what is free where nobody writes
	free      func(dir string) (int64, error) // room on the disk, in bytes
	toCompact bool
}

func openFolder(dir string, onlyLook bool) (*home, error) {
	h, f, err := readFolder(dir, onlyLook)
	if err != nil {
		return nil, err
	}
	open := bolt.Open
	if onlyLook {
		open = bolt.OpenReadOnly
	}
	engine, err := open(filepath.Join(dir, storeFile))
	if err != nil {
		return nil, err
	}
	h.engine, f.lookAt = engine, engine.CheckPages
	if onlyLook {
		f.lookAt = engine.CheckSpace
		return h, nil
	}
	for _, name := range []string{checkpointFile, erasingFile, backupFile} { // nobody else writes them now
		held.Sweep(dir, "."+name+"-*")
	}
	return h, nil
}

// readFolder reads what lies beside the store.
func readFolder(dir string, onlyLook bool) (*home, *folder, error) {
	f := &folder{dir: dir, free: freeBytes}
	key, err := ReadKey(filepath.Join(dir, keyFile))
	_, noStore := os.Stat(filepath.Join(dir, storeFile))
	keyless := errors.Is(err, fs.ErrNotExist) && onlyLook && noStore == nil
	switch {
	case keyless:
	case errors.Is(err, fs.ErrNotExist) && noStore == nil:
		return nil, nil, fmt.Errorf("%s is not a server's folder: it holds a ledger and no %s, without which it can only be looked at, or a new ledger be begun with recover", dir, keyFile)
	case errors.Is(err, fs.ErrNotExist):
		return nil, nil, fmt.Errorf("%s is not a server's folder: it has no %s; make one with init", dir, keyFile)
	case err != nil:
		return nil, nil, err
	}
	f.kept, err = os.ReadFile(filepath.Join(dir, checkpointFile))
	if errors.Is(err, fs.ErrNotExist) && noStore != nil {
		return nil, nil, fmt.Errorf("%s holds a server's key and no ledger; where that is in a database, name it with --database", dir)
	}
	if err != nil && !(keyless && errors.Is(err, fs.ErrNotExist)) {
		return nil, nil, fmt.Errorf("the kept checkpoint: %w", err)
	}
	if _, err := os.Stat(filepath.Join(dir, erasingFile)); !errors.Is(err, fs.ErrNotExist) {
		f.toCompact = true
	}
	return &home{dir: dir, key: key, keeper: f}, f, nil
}

// ReadKey reads a server's own key out of a file.
func ReadKey(path string) (ed25519.PrivateKey, error) {
	file, err := os.ReadFile(path)
	if err != nil {
		return nil, fmt.Errorf("server key: %w", err)
	}
	return signoff.ParsePrivateKey(path, file, func() ([]byte, error) { return nil, errors.New("the server key must not have a passphrase") })
}

// follows: the store may be ahead of its checkpoint (a crash between the two writes), never behind it and never
// beside it.
func (f *folder) follows(s *record.State) error {
	if f.kept == nil {
		return nil
	}
	cp, err := ledger.OpenCheckpoint(f.kept, ledger.Origin(s.GenesisSHA256()), s.ServerKey())
	if err != nil {
		return fmt.Errorf("the kept checkpoint cannot be used: %w", err)
	}
	if cp.Size > s.Size() {
		return fmt.Errorf("the store is behind its checkpoint: it has %d entries and had %d; restore it from a backup that has them", s.Size(), cp.Size)
	}
	if s.Root(cp.Size) != cp.Root {
		return errors.Join(s.Err(), fmt.Errorf("the store and its checkpoint disagree about the first %d entries", cp.Size))
	}
	return nil
}

// keep writes the checkpoint to its own file, synced; the same bytes are not written again. On a full
// disk it takes the room that was reserved for this.
func (f *folder) keep(note []byte) error {
	if bytes.Equal(note, f.kept) {
		return nil
	}
	write := func() error { return store.WriteSynced(filepath.Join(f.dir, checkpointFile), note) }
	err := write()
	if f.giveUp(err) {
		err = write()
	}
	if err != nil {
		return err
	}
	f.kept = bytes.Clone(note)
	return nil
}

func (f *folder) pages() error { return f.lookAt() }

// survives: what the file holds after a write that failed is known once it was opened again, for which whoever does it
// needs some room.
func (f *folder) survives(err error) bool {
	f.giveUp(err)
	return false
}

func (f *folder) beginErasing() error {
	f.toCompact = true
	return store.WriteSynced(filepath.Join(f.dir, erasingFile), []byte("the store is compacted when the server is started\n"))
}

func (f *folder) compact(e store.Engine, _ time.Duration) error {
	if !f.toCompact {
		return nil
	}
	if err := e.Compact(); err != nil {
		return err
	}
	f.toCompact = false
	return errors.Join(os.Remove(filepath.Join(f.dir, erasingFile)), store.SyncFolder(f.dir))
}

func (f *folder) spool() string { return filepath.Join(f.dir, spoolFolder) }

func (f *folder) left() error { return nil }

func (f *folder) archive(dir string) error {
	if f.kept == nil {
		return nil
	}
	return store.WriteSynced(filepath.Join(dir, checkpointFile), f.kept)
}

func (f *folder) shared() bool { return false }

func (f *folder) watch(context.Context, func(uint64)) {}
