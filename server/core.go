package server

import (
	"context"
	"crypto/ed25519"
	"errors"
	"fmt"
	"log/slog"
	"sync"
	"time"

	"golang.org/x/mod/sumdb/tlog"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/store"
	"witnessmark/store/ledger"
	"witnessmark/store/record"
	"witnessmark/store/signoff"
)

// core is the record as the server keeps it: the engine, the state rebuilt from its
// entries, and the one goroutine that adds to them.
type core struct {
	engine  store.Engine
	key     ed25519.PrivateKey
	staged  *staging
	log     *slog.Logger
	now     func() time.Time
	keep    func(checkpoint []byte) error // writes the checkpoint's own file, synced
	genesis string                        // hex
	cache   *cache

	mu         sync.RWMutex
	committed  *history // what readers see: nothing that is not on disk
	checkpoint []byte   // signed, of committed
	changed    chan struct{}
	broken     error
	onBroken   func() // called once, when writing stops
	streams    map[uint64]*openStream
	nextStream uint64

	ahead *history // the committer's own: committed, and what it is about to commit
	queue chan *waiting
	stop  chan struct{}
	done  chan struct{}
}

// history is a state and what is looked up beside it. The two copies of it that core keeps
// are fed the same entries.
type history struct {
	state  *record.State
	tree   ledger.Tree
	frames map[uint32]string          // job -> frame digest
	images map[string]*recordv1.Image // every image that was admitted
	joined map[string]uint64          // name -> entry that first enrolled it
	jobs   uint32
}

func newHistory() *history {
	return &history{
		state:  &record.State{},
		frames: map[uint32]string{},
		images: map[string]*recordv1.Image{},
		joined: map[string]uint64{},
	}
}

// apply adds an entry that was decided; signed is nil for the genesis.
func (h *history) apply(entry []byte, signed *signoff.Signed) (stored []tlog.Hash, first int64) {
	record.Apply(h.state, entry)
	return h.note(entry, signed)
}

// note adds an entry that the state has taken to the tree and to what else the server looks up.
func (h *history) note(entry []byte, signed *signoff.Signed) (stored []tlog.Hash, first int64) {
	index := h.tree.Size()
	_, stored, first = h.tree.Append(entry)
	if signed == nil {
		if h.state.Genesis != nil {
			h.joined[h.state.Genesis.GetLeadName()] = index
		}
		return stored, first
	}
	var im *recordv1.Image
	switch b := signed.Action.GetBody().(type) {
	case *recordv1.Action_Enrol:
		if _, ok := h.joined[b.Enrol.GetName()]; !ok {
			h.joined[b.Enrol.GetName()] = index
		}
	case *recordv1.Action_Job:
		h.jobs++
		h.frames[h.jobs] = b.Job.GetFrameDigest()
	case *recordv1.Action_Read:
		im = b.Read.GetImage()
	case *recordv1.Action_Submission:
		im = b.Submission.GetImage()
	case *recordv1.Action_ReadBack:
		im = b.ReadBack.GetImage()
	}
	if im != nil {
		if _, ok := h.images[im.GetSha256()]; !ok {
			h.images[im.GetSha256()] = im
		}
	}
	return stored, first
}

// replay judges and applies one entry, as anyone would who does not trust the server.
func (h *history) replay(entry []byte) (*signoff.Signed, error) {
	signed, err := record.Admit(h.state, entry)
	if err != nil {
		return nil, fmt.Errorf("entry %d: %w", h.tree.Size(), err)
	}
	h.note(entry, signed)
	return signed, nil
}

// openEntry opens the envelope of an entry against the state before it.
func openEntry(h *history, entry []byte) (*signoff.Signed, error) {
	env, _, err := record.EnvelopeOf(entry)
	if err != nil {
		return nil, err
	}
	return h.state.Open(env)
}

// entriesOf reads all entries; each is copied out of a short transaction of its own so that
// nothing is held while it is judged.
func entriesOf(e store.Engine, each func(index uint64, entry []byte) error) error {
	var size uint64
	if err := e.View(func(tx store.ReadTx) (err error) { size, err = tx.Entries(); return err }); err != nil {
		return fmt.Errorf("read the store: %w", err)
	}
	const batch = 256
	for first := uint64(0); first < size; first += batch {
		var some [][]byte
		err := e.View(func(tx store.ReadTx) error {
			some = some[:0]
			for i := first; i < min(first+batch, size); i++ {
				b, err := tx.Entry(i)
				if err != nil {
					return fmt.Errorf("entry %d: %w", i, err)
				}
				some = append(some, b)
			}
			return nil
		})
		if err != nil {
			return err
		}
		for i, b := range some {
			if err := each(first+uint64(i), b); err != nil {
				return err
			}
		}
	}
	return nil
}

// coreOptions is what newCore needs beside the engine.
type coreOptions struct {
	Engine store.Engine
	Key    ed25519.PrivateKey
	Staged *staging
	Log    *slog.Logger
	Now    func() time.Time
	Keep   func(checkpoint []byte) error
	Kept   []byte // the checkpoint in its own file
}

// newCore rebuilds the state from the entries, compares it with the kept checkpoint, and
// starts the committer.
func newCore(o coreOptions) (*core, error) {
	c := &core{
		engine: o.Engine, key: o.Key, staged: o.Staged, log: o.Log, now: o.Now, keep: o.Keep,
		cache: newCache(), committed: newHistory(), ahead: newHistory(),
		changed: make(chan struct{}), streams: map[uint64]*openStream{},
		queue: make(chan *waiting), stop: make(chan struct{}), done: make(chan struct{}),
	}
	err := entriesOf(o.Engine, func(_ uint64, entry []byte) error {
		signed, err := c.committed.replay(entry)
		if err == nil {
			c.ahead.apply(entry, signed)
		}
		return err
	})
	if err != nil {
		return nil, err
	}
	st := c.committed.state
	if st.Genesis == nil {
		return nil, errors.New("the store has no genesis: it was not made by init")
	}
	c.genesis = st.GenesisSHA256
	if !st.ServerKey().Equal(o.Key.Public()) {
		return nil, errors.New("the server key is not the one that the ledger names")
	}
	if err := agree(st, o.Kept); err != nil {
		return nil, err
	}
	note, err := c.sign(c.committed)
	if err != nil {
		return nil, err
	}
	if err := c.keep(note); err != nil {
		return nil, fmt.Errorf("keep the checkpoint: %w", err)
	}
	c.checkpoint = note
	go c.commitLoop()
	return c, nil
}

// agree compares the kept checkpoint with the state: the store may be ahead of it (a crash
// between the two writes), never behind it and never beside it.
func agree(st *record.State, kept []byte) error {
	cp, err := ledger.OpenCheckpoint(kept, ledger.Origin(st.GenesisSHA256), st.ServerKey())
	if err != nil {
		return fmt.Errorf("the kept checkpoint cannot be used: %w", err)
	}
	if cp.Size > st.Size {
		return fmt.Errorf("the store is behind its checkpoint: it has %d entries and had %d; restore it from a backup that has them", st.Size, cp.Size)
	}
	if st.Roots[cp.Size] != cp.Root {
		return fmt.Errorf("the store and its checkpoint disagree about the first %d entries", cp.Size)
	}
	return nil
}

// sign makes the checkpoint of a history.
func (c *core) sign(h *history) ([]byte, error) {
	root, err := h.tree.Root(h.tree.Size())
	if err != nil {
		return nil, fmt.Errorf("tree head: %w", err)
	}
	note, err := ledger.SignCheckpoint(ledger.Checkpoint{
		Origin: ledger.Origin(h.state.GenesisSHA256), Size: h.tree.Size(), Root: root,
	}, c.key)
	if err != nil {
		return nil, fmt.Errorf("sign the checkpoint: %w", err)
	}
	return note, nil
}

// read runs fn on the committed history, which must not be kept or changed.
func (c *core) read(fn func(h *history)) {
	c.mu.RLock()
	defer c.mu.RUnlock()
	fn(c.committed)
}

// head is the newest checkpoint, and a channel that is closed when there is a newer one.
func (c *core) head() ([]byte, <-chan struct{}) {
	c.mu.RLock()
	defer c.mu.RUnlock()
	return c.checkpoint, c.changed
}

// close stops the committer after what it is doing.
func (c *core) close(ctx context.Context) {
	close(c.stop)
	select {
	case <-c.done:
	case <-ctx.Done():
	}
}
