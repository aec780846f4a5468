// Package bolt is the embedded engine: one file, one writing process at a time, every commit synced.
package bolt

import (
	"fmt"
	"os"
	"runtime/debug"
	"sync"
	"sync/atomic"

	"go.etcd.io/bbolt"

	"witnessmark/store"
)

// Engine is a store in one bbolt file.
type Engine struct {
	path    string
	options Options
	named   bool // the file that names the holder is ours

	using  sync.RWMutex // held for reading by transactions, so that Compact and Close wait for them
	db     *bbolt.DB
	file   *os.File // of db, as it was opened
	closed bool

	broken atomic.Bool

	// (*bbolt.Tx).Commit and bbolt.Compact; a test makes them fail.
	commit func(*bbolt.Tx) error
	copy   func(to, from *bbolt.DB, batch int64) error
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
	if err := e.writable(); err != nil {
		return err
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
	if err := t.putSum(); err != nil {
		return err
	}
	if err := guard(func() error { return e.commit(t.tx) }); err != nil {
		// What the file holds now is unknown until it is read again from the disk.
		e.broken.Store(true)
		return fmt.Errorf("store %s: %w: %w", e.path, store.ErrBroken, err)
	}
	return nil
}

func (e *Engine) writable() error {
	if e.options.ReadOnly {
		return fmt.Errorf("store %s was opened to be read: %w", e.path, store.ErrInvalid)
	}
	return nil
}

// usable is for whoever holds using.
func (e *Engine) usable() error {
	switch {
	case e.closed:
		return store.ErrClosed
	case e.broken.Load():
		return store.ErrBroken
	}
	return nil
}

func (e *Engine) begin(writable bool) (_ *writeTx, err error) {
	e.using.RLock()
	defer func() {
		if err != nil {
			e.using.RUnlock()
		}
	}()
	if err := e.usable(); err != nil {
		return nil, err
	}
	var tx *bbolt.Tx
	if err := guard(func() (err error) { tx, err = e.db.Begin(writable); return err }); err != nil {
		return nil, fmt.Errorf("store %s: %w", e.path, err)
	}
	// A writer may have waited behind the one that broke the store.
	if err := e.usable(); err != nil {
		_ = tx.Rollback()
		return nil, err
	}
	t := &writeTx{readTx: e.reading(tx)}
	t.release = e.using.RUnlock
	return t, nil
}

func (e *Engine) reading(tx *bbolt.Tx) readTx {
	t := readTx{tx: tx}
	if e.options.ByPage {
		t.byPage = newByPage(e, tx)
	}
	return t
}

// Close waits for transactions under way and lets go of the file.
func (e *Engine) Close() error {
	e.using.Lock()
	defer e.using.Unlock()
	if e.closed {
		return nil
	}
	e.closed = true
	if e.named {
		_ = os.Remove(holderFile(e.path)) // see open: it is for a message alone
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
