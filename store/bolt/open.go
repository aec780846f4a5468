package bolt

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"runtime"
	"strconv"
	"strings"
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
