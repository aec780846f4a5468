// Package bolt is the embedded engine: one file, one writing process, every commit synced.
package bolt

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"runtime/debug"
	"sync/atomic"

	"go.etcd.io/bbolt"

	"witnessmark/store"
)

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
