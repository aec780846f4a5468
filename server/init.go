package server

import (
	"crypto/ed25519"
	"crypto/rand"
	"encoding/hex"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"time"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/store"
	"witnessmark/store/bolt"
	"witnessmark/store/held"
	"witnessmark/store/record"
	"witnessmark/store/signoff"
)

// Init makes a new ledger: a server's key, a store with the genesis, and where it is a folder's the first
// checkpoint. It answers with the fingerprint that clients pin. A folder or a database that holds anything
// is refused; a folder that could not be finished is removed again.
func (p Place) Init(leadName string, leadKey ed25519.PublicKey, onePerson bool) (fingerprint string, err error) {
	half, done, err := newFolder(p.Dir)
	if err != nil {
		return "", err
	}
	defer done()
	key, genesis, fingerprint, err := newGenesis(&recordv1.Genesis{LeadName: leadName, LeadKey: signoff.FormatPublicKey(leadKey), OnePerson: onePerson})
	switch {
	case err != nil:
		return "", err
	case p.Database != "":
		return fingerprint, p.fillDatabase(half, key, func(w store.WriteTx) error { return admitGenesis(w, genesis) })
	}
	if err := fill(half, key, genesis); err != nil {
		return "", err
	}
	return fingerprint, putInPlace(half, p.Dir)
}

// newGenesis makes a server's key and the first entry of its ledger: of the genesis the key, when it was made and
// the salt are filled in.
func newGenesis(g *recordv1.Genesis) (key ed25519.PrivateKey, entry []byte, fingerprint string, err error) {
	_, key, err = ed25519.GenerateKey(rand.Reader)
	if err != nil {
		return nil, nil, "", fmt.Errorf("make the server key: %w", err)
	}
	salt := make([]byte, 32)
	if _, err := rand.Read(salt); err != nil {
		return nil, nil, "", fmt.Errorf("make the genesis: %w", err)
	}
	g.ServerKey = signoff.FormatPublicKey(key.Public().(ed25519.PublicKey))
	g.CreatedAt, g.Salt = time.Now().UTC().Format(time.RFC3339), hex.EncodeToString(salt)
	entry, sum := record.NewGenesis(g)
	fingerprint, err = fingerprintOf(sum)
	return key, entry, fingerprint, err
}

func admitGenesis(w store.WriteTx, genesis []byte) error {
	s := record.Write(w)
	if _, err := s.Admit(genesis, nil); err != nil {
		return err
	}
	return s.Finish()
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

// putInPlace puts a finished folder where it belongs; an empty one that is there makes room.
func putInPlace(half, dir string) error {
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
	err = engine.Update(func(w store.WriteTx) error { return admitGenesis(w, genesis) })
	if err == nil {
		err = record.View(engine, func(s *record.State) error { return accompany(dir, s, key) })
	}
	return errors.Join(err, engine.Close())
}

// accompany writes what lies beside a store: the server's key, and a checkpoint made with it.
func accompany(dir string, s *record.State, key ed25519.PrivateKey) error {
	note, err := sign(s, key)
	if err != nil {
		return err
	}
	return errors.Join(writeKey(dir, key), store.WriteSynced(filepath.Join(dir, checkpointFile), note))
}

func writeKey(dir string, key ed25519.PrivateKey) error {
	pem, err := signoff.MarshalPrivateKey(key, "witnessmarkd", nil)
	if err != nil {
		return fmt.Errorf("server key: %w", err)
	}
	return store.WriteSynced(filepath.Join(dir, keyFile), pem)
}

func fingerprintOf(genesisSHA256 string) (string, error) {
	raw, err := hex.DecodeString(genesisSHA256)
	if err != nil || len(raw) != 32 {
		return "", fmt.Errorf("genesis hash %q is not a SHA-256", genesisSHA256)
	}
	return signoff.HashFingerprint([32]byte(raw)), nil
}
