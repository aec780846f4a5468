package server

import (
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
	home    *home
	claims  *claims.Computer
	log     *slog.Logger
	now     func() time.Time
	keep    func(checkpoint []byte) error // makes it durable, before it is shown
	opened  atomic.Uint64                 // envelopes: each is opened once
	figures *figures
	lanes   *lanes        // of computing
	unknown time.Duration // how long it is asked again what became of a commit

	mu         sync.RWMutex
	checkpoint []byte // signed and kept
	size       uint64 // its entries: no more of them are handed on
	changed    chan struct{}
	broken     error
	away       bool       // the store could not be used when it was last asked for
	onServing  func(bool) // told when actions can be admitted no more, and again
	streams    map[*openStream]bool
	shows      uint64 // of heads; after the one numbered looked those streams were looked at
	looked     uint64

	following sync.WaitGroup

	queue  chan *arrival
	coming atomic.Int64 // actions on their way to the queue
	most   int          // of a batch
	stop   chan struct{}
	done   chan struct{}
	ended  chan struct{} // closed after a write that failed: only another process can go on
}

// newCore takes up a store, holds it against the place that it lies in, and starts the committer.
func newCore(h *home, log *slog.Logger, now func() time.Time, onServing func(bool)) (*core, error) {
	c := &core{
		engine: h.engine, home: h, claims: claims.New(), log: log, now: now, keep: h.keep, unknown: unknownFor, onServing: onServing,
		changed: make(chan struct{}), streams: map[*openStream]bool{},
		most: maxBatch, queue: make(chan *arrival), stop: make(chan struct{}), done: make(chan struct{}), ended: make(chan struct{}), figures: newFigures(), lanes: &lanes{by: map[string]*lane{}},
	}
	if err := takeUp(h, log); err != nil {
		return nil, err
	}
	err := record.View(c.engine, func(s *record.State) (err error) {
		if err := h.agree(s); err != nil {
			return err
		}
		c.size = s.Size()
		c.checkpoint, err = sign(s, h.key)
		return err
	})
	if err != nil {
		return nil, err
	}
	if err := c.keep(c.checkpoint); err != nil {
		return nil, fmt.Errorf("keep the checkpoint: %w", err)
	}
	if err := errors.Join(h.finishErasing(0), h.reserve()); err != nil {
		return nil, err
	}
	go c.commitLoop()
	return c, nil
}

// takeUp brings the documents to the form of this program, and as far as it understands the entries. Of several
// servers that share a ledger the first does it, and an older one does not go back behind a newer.
func takeUp(h *home, log *slog.Logger) error {
	var outdated, unapplied bool
	err := h.engine.View(func(tx store.ReadTx) error {
		s := record.Read(tx)
		entries, err := tx.Entries()
		if err = errors.Join(s.Err(), err); err != nil {
			return fmt.Errorf("read the store: %w", err)
		}
		outdated, unapplied = s.Outdated(), s.Unapplied()
		switch {
		case entries == 0:
			return errors.New("there is no ledger: it has no genesis, which init makes")
		case !outdated && s.Size() != entries:
			return fmt.Errorf("the store has %d entries and documents of %d: %w; rebuild it, or restore it from a backup", entries, s.Size(), store.ErrDamaged)
		case outdated:
			log.Info("the documents have another form, and are made again from the entries", "entries", entries)
		case unapplied:
			log.Info("the ledger has entries that an older version did not understand")
		}
		return h.understands(s)
	})
	if err != nil || !outdated && !unapplied {
		return err
	}
	return h.engine.Update(func(w store.WriteTx) error {
		s := record.Write(w)
		if err := h.understands(s); err != nil {
			return err
		}
		switch {
		case s.Outdated():
			_, err := record.Rebuild(w)
			return err
		case s.Unapplied():
			return errors.Join(s.CatchUp(), s.Finish())
		}
		return s.Err()
	})
}

// sign makes the checkpoint of a state.
func sign(s *record.State, key ed25519.PrivateKey) ([]byte, error) {
	return ledger.SignCheckpoint(ledger.Checkpoint{Origin: ledger.Origin(s.GenesisSHA256()), Size: s.Size(), Root: s.Root(s.Size())}, key)
}

// checkDocuments finds damage that the embedded engine cannot: its pages have no checksum.
func (c *core) checkDocuments() {
	err := c.home.pages()
	if err == nil {
		err = c.engine.View(store.CheckSum)
	}
	debug.FreeOSMemory() // all that was read is garbage now, and the process is to live for months
	switch {
	case err == nil:
		c.log.Info("the documents are what was written")
	case errors.Is(err, store.ErrClosed):
	case c.home.shared() && !errors.Is(err, store.ErrDamaged):
		c.log.Warn("the documents could not all be looked at", loggable(err))
	default:
		c.fail(err)
	}
}

// fail stops writing: what the store holds is known again only after it was reopened.
func (c *core) fail(err error) {
	c.log.Error("nothing is written until the server is started again", loggable(err))
	c.mu.Lock()
	if c.broken == nil {
		c.broken = fmt.Errorf("%w: %w", store.ErrBroken, err)
		c.onServing(false)
	}
	c.signal()
	c.mu.Unlock()
}

func (c *core) isBroken() error {
	c.mu.RLock()
	defer c.mu.RUnlock()
	return c.broken
}

func stopping() error {
	return &fault{code: codes.Unavailable, reason: "stopping", text: "the server is stopping"}
}

// close stops the committer after what it is doing, and whatever follows others.
func (c *core) close() {
	close(c.stop)
	<-c.done
	c.following.Wait()
}
