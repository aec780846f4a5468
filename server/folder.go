package server

import (
	"bytes"
	"crypto/ed25519"
	"crypto/rand"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"time"

	"witnessmark/store"
	"witnessmark/store/bolt"
	"witnessmark/store/ledger"
	"witnessmark/store/record"
	"witnessmark/store/signoff"
)

// What lies in a server's folder.
const (
	storeFile      = "ledger.db"
	keyFile        = "server.key"
	checkpointFile = "checkpoint"
	stagedFolder   = "staged"
)

// Init makes a server's folder: a key of its own, a store with the genesis, and the first
// checkpoint. It answers with the fingerprint that clients pin. A folder that holds anything
// is refused; a folder that could not be finished is removed again.
func Init(dir, leadName string, leadKey ed25519.PublicKey, onePerson bool) (fingerprint string, err error) {
	if err := vacant(dir); err != nil {
		return "", err
	}
	if err := os.MkdirAll(filepath.Dir(filepath.Clean(dir)), 0o700); err != nil {
		return "", fmt.Errorf("make the folder: %w", err)
	}
	half, err := os.MkdirTemp(filepath.Dir(filepath.Clean(dir)), ".witnessmarkd-init-")
	if err != nil {
		return "", fmt.Errorf("make the folder: %w", err)
	}
	defer os.RemoveAll(half) // nothing, once it was renamed
	_, key, err := ed25519.GenerateKey(rand.Reader)
	if err != nil {
		return "", fmt.Errorf("make the server key: %w", err)
	}
	salt := make([]byte, 32)
	if _, err := rand.Read(salt); err != nil {
		return "", fmt.Errorf("make the genesis: %w", err)
	}
	entry, sum := record.NewGenesis(key.Public().(ed25519.PublicKey), leadName, leadKey, onePerson,
		time.Now().UTC().Format(time.RFC3339), hex.EncodeToString(salt))
	if err := fill(half, key, entry); err != nil {
		return "", err
	}
	if err := place(half, dir); err != nil {
		return "", err
	}
	return fingerprintOf(sum)
}

// vacant says whether init may make a server's folder there.
func vacant(dir string) error {
	if dir == "" {
		return errors.New("the folder has no name")
	}
	names, err := os.ReadDir(dir)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return nil
	case err != nil:
		return fmt.Errorf("look into the folder: %w", err)
	case len(names) > 0:
		return fmt.Errorf("%s is not empty; init makes a new folder and leaves others alone", dir)
	}
	return nil
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
	pem, err := signoff.MarshalPrivateKey(key, "witnessmarkd", nil)
	if err != nil {
		return fmt.Errorf("server key: %w", err)
	}
	if err := store.WriteSynced(filepath.Join(dir, keyFile), pem); err != nil {
		return fmt.Errorf("server key: %w", err)
	}
	h := newHistory()
	if _, err := h.replay(genesis); err != nil {
		return err
	}
	note, err := (&core{key: key}).sign(h)
	if err != nil {
		return err
	}
	engine, err := bolt.Create(filepath.Join(dir, storeFile))
	if err != nil {
		return fmt.Errorf("make the store: %w", err)
	}
	fresh := newHistory()
	stored, first := fresh.apply(genesis, nil)
	first0 := &pending{result: admitted{entry: genesis}, stored: stored, first: first}
	err = engine.Update(func(tx store.WriteTx) error {
		if err := first0.put(tx); err != nil {
			return err
		}
		return tx.PutDocument(headKind, headKey, note)
	})
	if err := errors.Join(err, engine.Close()); err != nil {
		return fmt.Errorf("make the store: %w", err)
	}
	if err := store.WriteSynced(filepath.Join(dir, checkpointFile), note); err != nil {
		return fmt.Errorf("keep the checkpoint: %w", err)
	}
	return nil
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
	key    ed25519.PrivateKey
	kept   []byte
	engine store.Engine
}

// openFolder opens a folder to serve from it, or only to look, which changes no byte of the store.
func openFolder(dir string, onlyLook bool) (*folder, error) {
	key, err := os.ReadFile(filepath.Join(dir, keyFile))
	if errors.Is(err, fs.ErrNotExist) {
		return nil, fmt.Errorf("%s is not a server's folder: it has no %s; make one with init", dir, keyFile)
	}
	if err != nil {
		return nil, fmt.Errorf("server key: %w", err)
	}
	f := &folder{dir: dir}
	noPassphrase := func() ([]byte, error) { return nil, errors.New("the server key must not have a passphrase") }
	if f.key, err = signoff.ParsePrivateKey(keyFile, key, noPassphrase); err != nil {
		return nil, err
	}
	if f.kept, err = os.ReadFile(filepath.Join(dir, checkpointFile)); err != nil {
		return nil, fmt.Errorf("the kept checkpoint: %w", err)
	}
	open := bolt.Open
	if onlyLook {
		open = bolt.OpenReadOnly
	}
	if f.engine, err = open(filepath.Join(dir, storeFile)); err != nil {
		return nil, err
	}
	return f, nil
}

// keep writes the checkpoint to its own file, synced; the same bytes are not written again.
func (f *folder) keep(note []byte) error {
	if bytes.Equal(note, f.kept) {
		return nil
	}
	if err := store.WriteSynced(filepath.Join(f.dir, checkpointFile), note); err != nil {
		return err
	}
	f.kept = bytes.Clone(note)
	return nil
}

// headOf is the checkpoint that a store keeps inside itself.
func headOf(e store.Engine) (note []byte, err error) {
	err = e.View(func(tx store.ReadTx) error {
		note, err = tx.Document(headKind, headKey)
		return err
	})
	return note, err
}

// Restore makes a server's folder from a backup and the server's key, which a backup does
// not hold. It answers with the fingerprint and the number of entries.
func Restore(dir, backup string, key ed25519.PrivateKey) (fingerprint string, entries uint64, err error) {
	if err := vacant(dir); err != nil {
		return "", 0, err
	}
	half, err := os.MkdirTemp(filepath.Dir(filepath.Clean(dir)), ".witnessmarkd-restore-")
	if err != nil {
		return "", 0, fmt.Errorf("make the folder: %w", err)
	}
	defer os.RemoveAll(half)
	if err := copySynced(filepath.Join(half, storeFile), backup); err != nil {
		return "", 0, fmt.Errorf("the backup: %w", err)
	}
	h, note, err := readBackup(filepath.Join(half, storeFile))
	if err != nil {
		return "", 0, fmt.Errorf("%s: %w", backup, err)
	}
	if !h.state.ServerKey().Equal(key.Public()) {
		return "", 0, errors.New("the key given is not the one that the backup's ledger names")
	}
	pem, err := signoff.MarshalPrivateKey(key, "witnessmarkd", nil)
	if err != nil {
		return "", 0, fmt.Errorf("server key: %w", err)
	}
	err = errors.Join(store.WriteSynced(filepath.Join(half, keyFile), pem), store.WriteSynced(filepath.Join(half, checkpointFile), note))
	if err != nil {
		return "", 0, err
	}
	if err := place(half, dir); err != nil {
		return "", 0, err
	}
	fingerprint, err = fingerprintOf(h.state.GenesisSHA256)
	return fingerprint, h.state.Size, err
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

// readBackup replays a backup and holds it against the checkpoint inside it.
func readBackup(path string) (*history, []byte, error) {
	engine, err := bolt.OpenReadOnly(path)
	if err != nil {
		return nil, nil, err
	}
	defer engine.Close()
	h := newHistory()
	if err := entriesOf(engine, func(_ uint64, e []byte) error { _, err := h.replay(e); return err }); err != nil {
		return nil, nil, err
	}
	if h.state.Genesis == nil {
		return nil, nil, errors.New("it has no genesis")
	}
	note, err := headOf(engine)
	if err != nil {
		return nil, nil, fmt.Errorf("the checkpoint inside it: %w", err)
	}
	cp, err := ledger.OpenCheckpoint(note, ledger.Origin(h.state.GenesisSHA256), h.state.ServerKey())
	if err != nil {
		return nil, nil, fmt.Errorf("the checkpoint inside it: %w", err)
	}
	if cp.Size != h.state.Size || cp.Root != h.state.Roots[cp.Size] {
		return nil, nil, errors.New("its entries are not those of the checkpoint inside it")
	}
	return h, note, nil
}

// Backup writes a consistent copy of the store of a server that is not running to a new file.
func Backup(dir, out string) (err error) {
	f, err := openFolder(dir, true)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, f.engine.Close()) }()
	w, err := os.OpenFile(out, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
	if err != nil {
		return fmt.Errorf("backup: %w", err)
	}
	err = f.engine.Snapshot(w)
	if err := errors.Join(err, w.Sync(), w.Close()); err != nil {
		_ = os.Remove(out)
		return fmt.Errorf("backup: %w", err)
	}
	return nil
}
