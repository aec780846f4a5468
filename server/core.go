package server

import (
	"context"
	"crypto/ed25519"
	"errors"
	"fmt"
	"log/slog"
	"runtime/debug"
	"sync"
	"sync/atomic"
	"time"

	"google.golang.org/grpc/codes"

	"witnessmark/store"
	"witnessmark/store/claims"
	"witnessmark/store/ledger"
	"witnessmark/store/record"
)

// core is the engine, the one goroutine that adds to it, and what is known of its newest head.
// Nothing in it grows with the ledger.
type core struct {
	engine  store.Engine
	folder  *folder
	claims  *claims.Computer
	log     *slog.Logger
	now     func() time.Time
	keep    func(checkpoint []byte) error // writes the checkpoint's own file, synced
	opened  atomic.Uint64                 // envelopes: each is opened once
	figures *figures
	lanes   *lanes // of computing

	mu         sync.RWMutex
	checkpoint []byte // signed and kept
	size       uint64 // its entries: no more of them are handed on
	changed    chan struct{}
	broken     error
	onBroken   func() // called once, when writing stops
	streams    map[*openStream]bool

	queue chan *arrival
	stop  chan struct{}
	done  chan struct{}
	ended chan struct{} // closed after a write that failed: only another process can go on
}

// newCore takes up a folder's store, holds it against the kept checkpoint, and starts the committer.
func newCore(f *folder, log *slog.Logger, now func() time.Time) (*core, error) {
	c := &core{
		engine: f.engine, folder: f, claims: claims.New(), log: log, now: now, keep: f.keep,
		changed: make(chan struct{}), streams: map[*openStream]bool{},
		queue: make(chan *arrival), stop: make(chan struct{}), done: make(chan struct{}), ended: make(chan struct{}), figures: newFigures(), lanes: &lanes{by: map[string]*lane{}},
	}
	if err := takeUp(c.engine, log); err != nil {
		return nil, err
	}
	err := record.View(c.engine, func(s *record.State) (err error) {
		if err := agree(s, f); err != nil {
			return err
		}
		c.size = s.Size()
		c.checkpoint, err = sign(s, f.key)
		return err
	})
	if err != nil {
		return nil, err
	}
	if err := c.keep(c.checkpoint); err != nil {
		return nil, fmt.Errorf("keep the checkpoint: %w", err)
	}
	if err := errors.Join(f.finishErasing(), f.reserve()); err != nil {
		return nil, err
	}
	go c.commitLoop()
	return c, nil
}

// takeUp brings the documents to the form of this program, and as far as it understands the entries.
func takeUp(e store.Engine, log *slog.Logger) error {
	var (
		entries uint64
		s       *record.State
	)
	err := e.View(func(tx store.ReadTx) (err error) {
		s = record.Read(tx) // of it only what it has read already is asked afterwards
		entries, err = tx.Entries()
		return errors.Join(s.Err(), err)
	})
	switch {
	case err != nil:
		return fmt.Errorf("read the store: %w", err)
	case entries == 0:
		return errors.New("the store has no genesis: it was not made by init")
	case s.Outdated():
		log.Info("the documents have another form, and are made again from the entries", "entries", entries)
		return e.Update(func(w store.WriteTx) error { _, err := record.Rebuild(w); return err })
	case s.Size() != entries:
		return fmt.Errorf("the store has %d entries and documents of %d: %w; rebuild it, or restore it from a backup", entries, s.Size(), store.ErrDamaged)
	case s.Unapplied():
		log.Info("the ledger has entries that an older version did not understand")
		return e.Update(func(w store.WriteTx) error {
			s := record.Write(w)
			return errors.Join(s.CatchUp(), s.Finish())
		})
	}
	return nil
}

// agree holds a ledger against the folder that it lies in: its key, and the kept checkpoint. The
// store may be ahead of that (a crash between the two writes), never behind it and never beside it.
func agree(s *record.State, f *folder) error {
	if f.key != nil && !s.ServerKey().Equal(f.key.Public()) {
		return errors.Join(s.Err(), errors.New("the server key is not the one that the ledger names"))
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

// sign makes the checkpoint of a state.
func sign(s *record.State, key ed25519.PrivateKey) ([]byte, error) {
	return ledger.SignCheckpoint(ledger.Checkpoint{Origin: ledger.Origin(s.GenesisSHA256()), Size: s.Size(), Root: s.Root(s.Size())}, key)
}

// checkDocuments finds damage that the embedded engine cannot: its pages have no checksum.
func (c *core) checkDocuments() {
	err := c.folder.pages()
	if err == nil {
		err = c.engine.View(store.CheckSum)
	}
	debug.FreeOSMemory() // all that was read is garbage now, and the process is to live for months
	switch {
	case err == nil:
		c.log.Info("the documents are what was written")
	case !errors.Is(err, store.ErrClosed):
		c.fail(err)
	}
}

// head is the newest checkpoint and its size, and a channel that is closed when that may have changed.
func (c *core) head() (note []byte, size uint64, changed <-chan struct{}) {
	c.mu.RLock()
	defer c.mu.RUnlock()
	return c.checkpoint, c.size, c.changed
}

// show tells readers of a new head, and ends the streams of people who are no longer enrolled.
func (c *core) show(note []byte, size uint64) {
	c.mu.Lock()
	c.checkpoint, c.size = note, size
	c.signal()
	var open []*openStream
	for o := range c.streams {
		open = append(open, o)
	}
	c.mu.Unlock()
	for _, o := range open {
		c.endStream(o)
	}
}

func (c *core) signal() {
	close(c.changed)
	c.changed = make(chan struct{})
}

// shown waits until the kept checkpoint covers an entry.
func (c *core) shown(ctx context.Context, index uint64) error {
	for {
		_, size, changed := c.head()
		if size > index {
			return nil
		}
		if err := c.isBroken(); err != nil {
			return err
		}
		select {
		case <-changed:
		case <-c.stop:
			return stopping()
		case <-ctx.Done():
			return context.Cause(ctx)
		}
	}
}

// fail stops writing: what the store holds is known again only after it was reopened.
func (c *core) fail(err error) {
	c.log.Error("nothing is written until the server is started again", loggable(err))
	c.mu.Lock()
	first := c.broken == nil
	if first {
		c.broken = fmt.Errorf("%w: %w", store.ErrBroken, err)
	}
	c.signal()
	c.mu.Unlock()
	if first && c.onBroken != nil {
		c.onBroken()
	}
}

func (c *core) isBroken() error {
	c.mu.RLock()
	defer c.mu.RUnlock()
	return c.broken
}

func stopping() error {
	return &fault{code: codes.Unavailable, reason: "stopping", text: "the server is stopping"}
}

// close stops the committer after what it is doing.
func (c *core) close() {
	close(c.stop)
	<-c.done
}
