// Package bolt is the embedded engine: one file, one writing process, every commit synced.
package bolt

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"runtime"
	"runtime/debug"
	"strconv"
	"strings"
	"sync/atomic"
	"time"

	"go.etcd.io/bbolt"

	"witnessmark/store"
)

// format is the layout of the file; another number is another version's.
const format = "1"

var (
	bucketMeta      = []byte("meta")
	bucketEntries   = []byte("entries")
	bucketHashes    = []byte("hashes")
	bucketBlobs     = []byte("blobs")
	bucketDocuments = []byte("documents")
	keyFormat       = []byte("format")
)

// lockWait is how long opening waits for another process to let go.
const lockWait = time.Second

// mapSize is how much address space is mapped at the start: growth beyond it would wait for open
// reads, and then everybody for it. Only Linux maps more than the file without growing it.
const mapSize int64 = 8 << 30

// Engine is a store in one bbolt file.
type Engine struct {
	path     string
	readOnly bool
	db       *bbolt.DB
	closed   atomic.Bool
	broken   atomic.Bool
	commit   func(*bbolt.Tx) error // (*bbolt.Tx).Commit; a test makes it fail
}

var _ store.Engine = (*Engine)(nil)

// Create makes a new, empty store at path, where no file may be.
func Create(path string) (*Engine, error) {
	f, err := os.OpenFile(path, os.O_CREATE|os.O_EXCL|os.O_RDWR, 0o600)
	if err != nil {
		return nil, fmt.Errorf("create store: %w", err)
	}
	if err := f.Close(); err != nil {
		return nil, fmt.Errorf("create store: %w", err)
	}
	e, err := open(path, false, func(db *bbolt.DB) error { return db.Update(layOut) })
	if err == nil {
		err = store.SyncFolder(filepath.Dir(path))
		if err != nil {
			e.Close()
		}
	}
	if err != nil {
		os.Remove(path)
		return nil, fmt.Errorf("create store: %w", err)
	}
	return e, nil
}

// Open opens the store at path, which must exist. While another process holds it, Open waits a
// second and then says which one.
func Open(path string) (*Engine, error) { return openExisting(path, false) }

// OpenReadOnly opens the store at path for View and Snapshot; its file is not changed by a byte.
// Several may read at once, and none while a process has it open for writing.
func OpenReadOnly(path string) (*Engine, error) { return openExisting(path, true) }

func openExisting(path string, readOnly bool) (*Engine, error) {
	// bbolt would make a new store out of no file and out of an empty one.
	info, err := os.Stat(path)
	if err != nil {
		return nil, fmt.Errorf("open store: %w", err)
	}
	if !info.Mode().IsRegular() || info.Size() == 0 {
		return nil, fmt.Errorf("open store %s: it is empty or no file: %w", path, store.ErrDamaged)
	}
	e, err := open(path, readOnly, func(db *bbolt.DB) error { return db.View(checkLayout) })
	if err != nil {
		return nil, fmt.Errorf("open store: %w", err)
	}
	return e, nil
}

func open(path string, readOnly bool, prepare func(*bbolt.DB) error) (*Engine, error) {
	options := bbolt.Options{Timeout: lockWait, ReadOnly: readOnly, FreelistType: bbolt.FreelistMapType}
	if runtime.GOOS == "linux" && strconv.IntSize == 64 && !readOnly {
		options.InitialMmapSize = int(mapSize)
	}
	e := &Engine{path: path, readOnly: readOnly, commit: (*bbolt.Tx).Commit}
	err := guard(func() (err error) {
		e.db, err = bbolt.Open(path, 0o600, &options)
		if err != nil && options.InitialMmapSize > 0 && !errors.Is(err, bbolt.ErrTimeout) {
			// Where address space is rationed the store still works, only with waits when it grows.
			options.InitialMmapSize = 0
			e.db, err = bbolt.Open(path, 0o600, &options)
		}
		return err
	})
	switch {
	case errors.Is(err, bbolt.ErrTimeout):
		return nil, fmt.Errorf("%s is held by %s", path, holder(path))
	case errors.Is(err, bbolt.ErrInvalid), errors.Is(err, bbolt.ErrChecksum), errors.Is(err, bbolt.ErrVersionMismatch):
		return nil, fmt.Errorf("%s: %w: %w", path, store.ErrDamaged, err)
	case err != nil:
		return nil, fmt.Errorf("%s: %w", path, err)
	}
	if err := guard(func() error { return prepare(e.db) }); err != nil {
		e.db.Close()
		return nil, fmt.Errorf("%s: %w", path, err)
	}
	if !readOnly {
		// Only for the message to whoever comes second; losing it loses nothing.
		_ = os.WriteFile(holderFile(path), []byte(strconv.Itoa(os.Getpid())+"\n"), 0o600)
	}
	return e, nil
}

func layOut(tx *bbolt.Tx) error {
	for _, name := range [][]byte{bucketMeta, bucketEntries, bucketHashes, bucketBlobs, bucketDocuments} {
		if _, err := tx.CreateBucketIfNotExists(name); err != nil {
			return err
		}
	}
	return tx.Bucket(bucketMeta).Put(keyFormat, []byte(format))
}

func checkLayout(tx *bbolt.Tx) error {
	meta := tx.Bucket(bucketMeta)
	if meta == nil {
		return fmt.Errorf("it is a bbolt file, but no store of this project: %w", store.ErrDamaged)
	}
	if got := string(meta.Get(keyFormat)); got != format {
		return fmt.Errorf("its layout is %.20q, this version knows %q: upgrade", got, format)
	}
	for _, name := range [][]byte{bucketEntries, bucketHashes, bucketBlobs, bucketDocuments} {
		if tx.Bucket(name) == nil {
			return fmt.Errorf("it has no bucket %s: %w", name, store.ErrDamaged)
		}
	}
	return nil
}

func holderFile(path string) string { return path + ".pid" }

// holder says who has the store open, as far as the file beside it tells.
func holder(path string) string {
	raw, err := os.ReadFile(holderFile(path))
	pid, notNumber := strconv.Atoi(strings.TrimSpace(string(raw)))
	switch {
	case err != nil || notNumber != nil:
		return "another process"
	case pid == os.Getpid():
		return fmt.Sprintf("this process (%d) already", pid)
	}
	return fmt.Sprintf("another process, most likely %d", pid)
}

// View runs fn in a read transaction.
func (e *Engine) View(fn func(store.ReadTx) error) error {
	t, err := e.begin(false)
	if err != nil {
		return err
	}
	defer t.end()
	return fn(&t.readTx)
}

// Update runs fn in the one write transaction and syncs it.
func (e *Engine) Update(fn func(store.WriteTx) error) error {
	if e.readOnly {
		return fmt.Errorf("store %s was opened to be read: %w", e.path, store.ErrInvalid)
	}
	t, err := e.begin(true)
	if err != nil {
		return err
	}
	defer t.end()
	if err := fn(t); err != nil {
		return err
	}
	if t.failed != nil {
		return t.failed
	}
	if err := guard(func() error { return e.commit(t.tx) }); err != nil {
		// What the file holds now is unknown until it is read again from the disk.
		e.broken.Store(true)
		return fmt.Errorf("store %s: %w: %w", e.path, store.ErrBroken, err)
	}
	return nil
}

func (e *Engine) begin(writable bool) (*writeTx, error) {
	if e.closed.Load() {
		return nil, store.ErrClosed
	}
	if e.broken.Load() {
		return nil, store.ErrBroken
	}
	var tx *bbolt.Tx
	err := guard(func() (err error) { tx, err = e.db.Begin(writable); return err })
	if errors.Is(err, bbolt.ErrDatabaseNotOpen) {
		return nil, store.ErrClosed
	}
	if err != nil {
		return nil, fmt.Errorf("store %s: %w", e.path, err)
	}
	// A writer may have waited behind the one that broke the store.
	if e.broken.Load() {
		_ = tx.Rollback()
		return nil, store.ErrBroken
	}
	return &writeTx{readTx: readTx{tx: tx}}, nil
}

// Snapshot copies into a file beside the store first, and only then writes to w: a slow receiver
// must not keep a transaction open.
func (e *Engine) Snapshot(w io.Writer) (err error) {
	f, err := os.CreateTemp(filepath.Dir(e.path), ".snapshot-*")
	if err != nil {
		return fmt.Errorf("snapshot: %w", err)
	}
	defer func() {
		f.Close()
		os.Remove(f.Name())
	}()
	t, err := e.begin(false)
	if err != nil {
		return err
	}
	err = guard(func() error { _, err := t.tx.WriteTo(f); return err })
	t.end()
	if err != nil {
		return fmt.Errorf("snapshot: %w", err)
	}
	if _, err := f.Seek(0, io.SeekStart); err != nil {
		return fmt.Errorf("snapshot: %w", err)
	}
	if _, err := io.Copy(w, f); err != nil {
		return fmt.Errorf("snapshot: %w", err)
	}
	return nil
}

// Close waits for transactions under way and lets go of the file.
func (e *Engine) Close() error {
	if e.closed.Swap(true) {
		return nil
	}
	if !e.readOnly {
		if err := os.Remove(holderFile(e.path)); err != nil && !errors.Is(err, fs.ErrNotExist) {
			_ = err // see open: the file only names the holder
		}
	}
	if err := guard(e.db.Close); err != nil {
		return fmt.Errorf("close store %s: %w", e.path, err)
	}
	return nil
}

// guard turns bbolt's panics over damaged pages, and faults of the mapping where the file was cut
// short, into ErrDamaged. fn never calls back into the caller's code.
func guard(fn func() error) (err error) {
	defer debug.SetPanicOnFault(debug.SetPanicOnFault(true))
	defer func() {
		if p := recover(); p != nil {
			err = fmt.Errorf("%w: %v", store.ErrDamaged, p)
		}
	}()
	return fn()
}
