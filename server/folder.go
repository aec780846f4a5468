package server

import (
	"bytes"
	"crypto/ed25519"
	"crypto/rand"
	"encoding/hex"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"time"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/store"
	"witnessmark/store/bolt"
	"witnessmark/store/held"
	"witnessmark/store/record"
	"witnessmark/store/signoff"
)

// What lies in a server's folder.
const (
	storeFile      = "ledger.db"
	keyFile        = "server.key"
	checkpointFile = "checkpoint"
	spoolFolder    = "spool"
	erasingFile    = "erasing" // there while the store's file may hold what was erased
	reserveFile    = "reserve" // nothing but room on the disk
)

// Init makes a server's folder: a key of its own, a store with the genesis, and the first
// checkpoint. It answers with the fingerprint that clients pin. A folder that holds anything
// is refused; a folder that could not be finished is removed again.
func Init(dir, leadName string, leadKey ed25519.PublicKey, onePerson bool) (fingerprint string, err error) {
	half, done, err := newFolder(dir)
	if err != nil {
		return "", err
	}
	defer done()
	fingerprint, err = newLedger(half, &recordv1.Genesis{LeadName: leadName, LeadKey: signoff.FormatPublicKey(leadKey), OnePerson: onePerson})
	if err != nil {
		return "", err
	}
	return fingerprint, place(half, dir)
}

// newLedger makes all of a new ledger in a folder that is not in use yet. Of the genesis the server's key, when
// it was made and the salt are filled in.
func newLedger(half string, g *recordv1.Genesis) (fingerprint string, err error) {
	_, key, err := ed25519.GenerateKey(rand.Reader)
	if err != nil {
		return "", fmt.Errorf("make the server key: %w", err)
	}
	salt := make([]byte, 32)
	if _, err := rand.Read(salt); err != nil {
		return "", fmt.Errorf("make the genesis: %w", err)
	}
	g.ServerKey = signoff.FormatPublicKey(key.Public().(ed25519.PublicKey))
	g.CreatedAt, g.Salt = time.Now().UTC().Format(time.RFC3339), hex.EncodeToString(salt)
	entry, sum := record.NewGenesis(g)
	if err := fill(half, key, entry); err != nil {
		return "", err
	}
	return fingerprintOf(sum)
}

// newFolder makes a folder beside the one that is to be; that one must not be there, or be empty. done removes
// it, unless it was put in its place, and what such a command left there that was killed.
func newFolder(dir string) (half string, done func() error, err error) {
	if dir == "" {
		return "", nil, errors.New("the folder has no name")
	}
	names, err := os.ReadDir(dir)
	switch {
	case err != nil && !errors.Is(err, fs.ErrNotExist):
		return "", nil, fmt.Errorf("look into the folder: %w", err)
	case len(names) > 0:
		return "", nil, fmt.Errorf("%s is not empty; a new folder is made, and others are left alone", dir)
	}
	parent := filepath.Dir(filepath.Clean(dir))
	err = os.MkdirAll(parent, 0o700)
	if err == nil {
		half, done, err = held.Folder(parent, ".witnessmarkd-*")
	}
	if err == nil {
		half = filepath.Join(half, "data")
		if err = os.Mkdir(half, 0o700); err != nil {
			err = errors.Join(err, done())
		}
	}
	if err != nil {
		return "", nil, fmt.Errorf("make the folder: %w", err)
	}
	return half, done, nil
}

// place puts a finished folder where it belongs; an empty one that is there makes room.
func place(half, dir string) error {
	if err := os.Remove(dir); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return fmt.Errorf("make the folder: %w", err)
	}
	if err := os.Rename(half, dir); err != nil {
		return fmt.Errorf("make the folder: %w", err)
	}
	if err := store.SyncFolder(filepath.Dir(filepath.Clean(dir))); err != nil {
		return fmt.Errorf("sync the folder: %w", err)
	}
	return nil
}

// fill writes everything that a server's folder begins with.
func fill(dir string, key ed25519.PrivateKey, genesis []byte) error {
	engine, err := bolt.Create(filepath.Join(dir, storeFile))
	if err != nil {
		return fmt.Errorf("make the store: %w", err)
	}
	err = engine.Update(func(w store.WriteTx) error {
		s := record.Write(w)
		if _, err := s.Admit(genesis, nil); err != nil {
			return err
		}
		return s.Finish()
	})
	if err == nil {
		err = record.View(engine, func(s *record.State) error { return accompany(dir, s, key) })
	}
	return errors.Join(err, engine.Close())
}

// accompany writes what lies beside a store: the server's key, and a checkpoint made with it.
func accompany(dir string, s *record.State, key ed25519.PrivateKey) error {
	pem, err := signoff.MarshalPrivateKey(key, "witnessmarkd", nil)
	if err != nil {
		return fmt.Errorf("server key: %w", err)
	}
	note, err := sign(s, key)
	if err != nil {
		return err
	}
	return errors.Join(store.WriteSynced(filepath.Join(dir, keyFile), pem), store.WriteSynced(filepath.Join(dir, checkpointFile), note))
}

func fingerprintOf(genesisSHA256 string) (string, error) {
	raw, err := hex.DecodeString(genesisSHA256)
	if err != nil || len(raw) != 32 {
		return "", fmt.Errorf("genesis hash %q is not a SHA-256", genesisSHA256)
	}
	return signoff.HashFingerprint([32]byte(raw)), nil
}

// folder is an opened server's folder.
type folder struct {
	dir    string
	key    ed25519.PrivateKey // nil of an archive, which is only looked at
	kept   []byte             // the checkpoint in its own file
	engine store.Engine
	pages  func() error                    // looks at every page of the store's file, and at what is free where nobody writes
	free   func(dir string) (int64, error) // room on the disk, in bytes

	erasing bool
}

// openFolder opens a folder to serve from it, or only to look, which changes no byte of the store and
// does not need the server's key.
func openFolder(dir string, onlyLook bool) (*folder, error) {
	f, err := readFolder(dir, onlyLook)
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
	f.engine, f.pages = engine, engine.CheckPages
	if onlyLook {
		f.pages = engine.CheckSpace
		return f, nil
	}
	for _, name := range []string{checkpointFile, erasingFile} { // nobody else writes them now
		held.Sweep(dir, "."+name+"-*")
	}
	return f, nil
}

// readFolder reads what lies beside the store.
func readFolder(dir string, onlyLook bool) (*folder, error) {
	f := &folder{dir: dir, free: freeBytes}
	key, err := ReadKey(filepath.Join(dir, keyFile))
	_, noStore := os.Stat(filepath.Join(dir, storeFile))
	switch {
	case errors.Is(err, fs.ErrNotExist) && onlyLook && noStore == nil:
	case errors.Is(err, fs.ErrNotExist):
		return nil, fmt.Errorf("%s is not a server's folder: it has no %s; make one with init", dir, keyFile)
	case err != nil:
		return nil, err
	}
	f.key = key
	if f.kept, err = os.ReadFile(filepath.Join(dir, checkpointFile)); err != nil {
		return nil, fmt.Errorf("the kept checkpoint: %w", err)
	}
	if _, err := os.Stat(filepath.Join(dir, erasingFile)); !errors.Is(err, fs.ErrNotExist) {
		f.erasing = true
	}
	return f, nil
}

// ReadKey reads a server's own key out of a file.
func ReadKey(path string) (ed25519.PrivateKey, error) {
	file, err := os.ReadFile(path)
	if err != nil {
		return nil, fmt.Errorf("server key: %w", err)
	}
	return signoff.ParsePrivateKey(path, file, func() ([]byte, error) { return nil, errors.New("the server key must not have a passphrase") })
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

func erases(batch []*arrival) bool {
	return slices.ContainsFunc(batch, func(a *arrival) bool { return a.signed.Action.GetErase() != nil })
}

// beginErasing notes, before a batch that erases is committed, that the file has to be compacted,
// so that a crash in between does not leave it undone.
func (f *folder) beginErasing(batch []*arrival) error {
	if !erases(batch) {
		return nil
	}
	f.erasing = true
	return store.WriteSynced(filepath.Join(f.dir, erasingFile), []byte("the store is compacted when the server is started\n"))
}

// finishErasing compacts the store where something was erased.
func (f *folder) finishErasing() error {
	if !f.erasing {
		return nil
	}
	if err := f.engine.Compact(); err != nil {
		return fmt.Errorf("erase: %w", err)
	}
	f.erasing = false
	return errors.Join(os.Remove(filepath.Join(f.dir, erasingFile)), store.SyncFolder(f.dir))
}
