// Package memory is the model engine: the contract of store.Engine in the plainest form, for
// tests of what stands on it and as the model that other engines are held to. Nothing is durable.
package memory

import (
	"encoding/gob"
	"fmt"
	"io"
	"maps"
	"slices"
	"sync"
	"sync/atomic"

	"golang.org/x/mod/sumdb/tlog"

	"witnessmark/store"
)

// state is one committed state; it is never changed once it is shared.
type state struct {
	Entries   [][]byte
	Hashes    map[int64]tlog.Hash
	Blobs     map[string][]byte
	Documents map[string][]document // by kind, ascending by key
	Sum       store.Sum
}

type document struct {
	Key   string
	Value []byte
}

// Engine keeps everything in memory.
type Engine struct {
	writing sync.Mutex   // one Update at a time
	open    sync.RWMutex // held for reading by transactions, so that Close waits
	closed  bool
	now     atomic.Pointer[state]
}

var _ store.Engine = (*Engine)(nil)

// New is an empty engine.
func New() *Engine {
	e := &Engine{}
	e.now.Store(&state{Hashes: map[int64]tlog.Hash{}, Blobs: map[string][]byte{}, Documents: map[string][]document{}})
	return e
}

// Open reads what Snapshot wrote.
func Open(snapshot io.Reader) (*Engine, error) {
	e := New()
	s := *e.now.Load()
	if err := gob.NewDecoder(snapshot).Decode(&s); err != nil {
		return nil, fmt.Errorf("open snapshot: %w", err)
	}
	e.now.Store(&s)
	return e, nil
}

// View runs fn on the state as it is now.
func (e *Engine) View(fn func(store.ReadTx) error) error {
	e.open.RLock()
	defer e.open.RUnlock()
	if e.closed {
		return store.ErrClosed
	}
	t := &tx{state: e.now.Load()}
	defer func() { t.done = true }()
	return fn(t)
}

// Update runs fn on a copy and makes it the state if nothing failed.
func (e *Engine) Update(fn func(store.WriteTx) error) error {
	e.writing.Lock()
	defer e.writing.Unlock()
	e.open.RLock()
	defer e.open.RUnlock()
	if e.closed {
		return store.ErrClosed
	}
	t := &writeTx{tx: tx{state: e.now.Load().clone()}}
	defer func() { t.done = true }()
	if err := fn(t); err != nil {
		return err
	}
	if t.failed != nil {
		return t.failed
	}
	e.now.Store(t.state)
	return nil
}

// Snapshot writes the state as gob.
func (e *Engine) Snapshot(w io.Writer) error {
	e.open.RLock()
	defer e.open.RUnlock()
	if e.closed {
		return store.ErrClosed
	}
	if err := gob.NewEncoder(w).Encode(e.now.Load()); err != nil {
		return fmt.Errorf("snapshot: %w", err)
	}
	return nil
}

// Compact has nothing to do: what was deleted is garbage.
func (e *Engine) Compact() error { return e.View(func(store.ReadTx) error { return nil }) }

// Close waits for transactions under way.
func (e *Engine) Close() error {
	e.open.Lock()
	defer e.open.Unlock()
	e.closed = true
	return nil
}

// clone copies the maps; the values in them are never changed, so they are shared.
func (s *state) clone() *state {
	out := &state{
		Entries:   s.Entries[:len(s.Entries):len(s.Entries)],
		Hashes:    maps.Clone(s.Hashes),
		Blobs:     maps.Clone(s.Blobs),
		Documents: map[string][]document{},
		Sum:       s.Sum,
	}
	for kind, documents := range s.Documents {
		out.Documents[kind] = slices.Clone(documents)
	}
	return out
}
