package bolt

import (
	"crypto/sha256"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"runtime"
	"strings"

	"go.etcd.io/bbolt"

	"witnessmark/store"
)

// batch bounds what one transaction of a copy holds in memory, in bytes, but for one value.
const batch = 16 << 20

// Snapshot makes a compacted file beside the store first, and only then writes to w: a slow
// receiver must not keep a transaction open.
func (e *Engine) Snapshot(w io.Writer) (err error) {
	defer func() {
		if err != nil {
			err = fmt.Errorf("snapshot: %w", err)
		}
	}()
	to, _, err := e.compacted("snapshot")
	if err != nil {
		return err
	}
	path := to.Path() // empty once it is closed
	defer os.Remove(path)
	var size int64 // of its pages; the file has room to grow behind them
	err = guard(func() error { return to.View(func(tx *bbolt.Tx) error { size = tx.Size(); return nil }) })
	if err := errors.Join(err, to.Close()); err != nil {
		return err
	}
	f, err := os.Open(path)
	if err != nil {
		return err
	}
	defer f.Close()
	_, err = io.CopyN(w, f, size)
	return err
}

// compacted copies what the store holds, and nothing that it held once, into a new file beside it.
func (e *Engine) compacted(what string) (*bbolt.DB, *os.File, error) {
	e.using.RLock()
	defer e.using.RUnlock()
	return e.copyBeside(what)
}

// copyBeside is for whoever holds using. What it leaves behind if it is killed, the next opening removes.
func (e *Engine) copyBeside(what string) (*bbolt.DB, *os.File, error) {
	if err := e.usable(); err != nil {
		return nil, nil, err
	}
	f, err := os.CreateTemp(filepath.Dir(e.path), "."+what+"-"+filepath.Base(e.path)+"-*")
	if err != nil {
		return nil, nil, err
	}
	if err := f.Close(); err != nil {
		return nil, nil, err
	}
	to, file, err := openFile(f.Name(), Options{MapSize: e.options.MapSize, Step: e.options.Step}, true)
	if err != nil {
		os.Remove(f.Name())
		return nil, nil, err
	}
	to.NoSync = true // until it is whole
	err = guard(func() error { return e.copy(to, e.db, batch) })
	if err == nil {
		to.NoSync = false
		err = to.Sync()
	}
	if err != nil {
		return nil, nil, discard(to, err)
	}
	return to, file, nil
}

// discard removes a copy that is of no use because of err.
func discard(db *bbolt.DB, err error) error {
	path := db.Path()
	return errors.Join(err, guard(db.Close), os.Remove(path))
}

// Compact puts a compacted copy in the place of the store's file, if its head is the same. It
// waits for transactions under way, and others wait for it.
func (e *Engine) Compact() (err error) {
	if err := e.writable(); err != nil {
		return err
	}
	e.using.Lock()
	defer e.using.Unlock()
	defer func() {
		if err != nil {
			err = fmt.Errorf("compact store %s: %w", e.path, err)
		}
	}()
	to, file, err := e.copyBeside("compact")
	if err != nil {
		return err
	}
	before, err1 := readHead(e.db)
	after, err2 := readHead(to)
	if err := errors.Join(err1, err2); err != nil {
		return discard(to, err)
	}
	if before != after {
		return discard(to, fmt.Errorf("the copy has another head: %w", store.ErrDamaged))
	}
	return e.replace(to, file)
}

// replace renames the copy into place while both files are locked, so that no other process comes
// in between: whoever waits for the old file sees that it is no longer the one of that name.
func (e *Engine) replace(to *bbolt.DB, file *os.File) error {
	if runtime.GOOS == "windows" {
		return e.replaceClosed(to)
	}
	if err := os.Rename(to.Path(), e.path); err != nil {
		return discard(to, err)
	}
	old := e.db
	e.db, e.file = to, file
	err := store.SyncFolder(filepath.Dir(e.path))
	if err != nil {
		// The next commit might be in a file whose name is lost with the power.
		e.broken.Store(true)
	}
	return errors.Join(err, guard(old.Close))
}

// replaceClosed is for Windows, which renames no open file: other processes must be kept away by
// their own means.
func (e *Engine) replaceClosed(to *bbolt.DB) error {
	path := to.Path()
	if err := errors.Join(guard(to.Close), guard(e.db.Close)); err != nil {
		e.broken.Store(true)
		return errors.Join(err, os.Remove(path))
	}
	err := os.Rename(path, e.path)
	if err != nil {
		os.Remove(path)
	}
	db, file, opening := openFile(e.path, e.options, false)
	if opening != nil {
		e.broken.Store(true)
		return errors.Join(err, opening)
	}
	e.db, e.file = db, file
	return err
}

// head is what a copy must have in common with its store.
type head struct {
	entries uint64
	hashes  [sha256.Size]byte // over all tree hashes and their indexes
	sum     store.Sum
}

func readHead(db *bbolt.DB) (h head, err error) {
	err = guard(func() error {
		return db.View(func(tx *bbolt.Tx) (err error) {
			t := &readTx{tx: tx}
			if h.entries, err = t.Entries(); err != nil {
				return err
			}
			if h.sum, err = t.Sum(); err != nil {
				return err
			}
			all := sha256.New()
			err = t.walk(bucketHashes, nil, func(index, hash []byte) (bool, error) {
				all.Write(index)
				all.Write(hash)
				return true, nil
			})
			h.hashes = [sha256.Size]byte(all.Sum(nil))
			return err
		})
	})
	return h, err
}

// removeLeftovers is for whoever has just locked the store: nobody else makes such files now.
func removeLeftovers(path string) error {
	entries, err := os.ReadDir(filepath.Dir(path))
	if err != nil {
		return err
	}
	for _, entry := range entries {
		for _, what := range []string{"compact", "snapshot"} {
			if strings.HasPrefix(entry.Name(), "."+what+"-"+filepath.Base(path)+"-") {
				err = errors.Join(err, os.Remove(filepath.Join(filepath.Dir(path), entry.Name())))
			}
		}
	}
	return err
}
