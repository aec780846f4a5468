package server

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"runtime/debug"
	"time"

	"golang.org/x/mod/sumdb/tlog"
	"google.golang.org/grpc/codes"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/store"
	"witnessmark/store/record"
	"witnessmark/store/signoff"
)

// maxBatch is how many actions share one sync, and maxBatchBytes about how many bytes of
// blobs they bring: those are in memory until they are written.
const (
	maxBatch      = 64
	maxBatchBytes = 64 << 20
)

// waiting is an action that waits for the committer. answer has room for one.
type waiting struct {
	envelope []byte
	kind     string
	keyID    string // of the person who calls
	answer   chan admitted
}

// admitted is where an action went, or why it did not go in.
type admitted struct {
	index  uint64
	entry  []byte
	action *recordv1.Action
	err    error
}

// pending is a decided action of the batch under way.
type pending struct {
	w      *waiting
	also   []*waiting // the same bytes again, in the same batch
	result admitted
	blobs  []namedBlob
	stored []tlog.Hash
	first  int64
}

// admit hands an envelope to the committer and waits for its answer. The caller's context
// ends the wait, not the commit: whoever lost the answer sends the same bytes again.
func (c *core) admit(ctx context.Context, envelope []byte, kind, keyID string) (admitted, error) {
	if len(envelope) == 0 || len(envelope) > maxEnvelope {
		return admitted{}, invalid("bad-envelope", "envelope", fmt.Sprintf("1 to %d bytes", maxEnvelope),
			"the envelope has %d bytes; allowed are 1 to %d", len(envelope), maxEnvelope)
	}
	if err := c.warm(envelope, kind, keyID); err != nil {
		return admitted{}, err
	}
	w := &waiting{envelope: envelope, kind: kind, keyID: keyID, answer: make(chan admitted, 1)}
	select {
	case c.queue <- w:
	case <-c.stop:
		return admitted{}, stopping()
	case <-ctx.Done():
		return admitted{}, ctx.Err()
	}
	select {
	case a := <-w.answer:
		return a, a.err
	case <-ctx.Done():
		return admitted{}, ctx.Err()
	}
}

func stopping() error {
	return &fault{code: codes.Unavailable, reason: "stopping", text: "the server is stopping"}
}

// warm computes what the committer will need, on the caller's time: reports are pure, so
// the committer finds them again however the record moved on in between.
func (c *core) warm(envelope []byte, kind, keyID string) error {
	if _, ok, err := c.before(c.committedView(), envelope, kind); ok || err != nil {
		return err
	}
	var (
		signed *signoff.Signed
		err    error
	)
	c.read(func(h *history) { signed, err = h.state.Open(envelope) })
	if err != nil {
		return openFault(err)
	}
	if err := c.proper(signed, kind, keyID); err != nil {
		return err
	}
	c.read(func(h *history) { err = c.decide(h, signed) })
	var r *record.Refusal
	if errors.As(err, &r) && r.Reason == record.ReasonDuplicateRequest {
		return nil // admitted since the look above: the committer finds its answer
	}
	if err != nil {
		return err
	}
	_, err = c.facts(c.committedView(), signed.Action)
	return err
}

func wrongKind(want, got string) error {
	return invalid("wrong-kind", "envelope", want, "this method takes a signed %s; the envelope holds a %s", want, got)
}

// proper says whether an opened action is the one this call may bring.
func (c *core) proper(s *signoff.Signed, kind, keyID string) error {
	if s.Kind != kind {
		return wrongKind(kind, s.Kind)
	}
	if s.KeyID != keyID {
		return &fault{code: codes.PermissionDenied, reason: "not-the-signer", at: "envelope",
			allowed: "an action signed by the key of this connection",
			text:    "the action is signed by another key than this connection's: people bring their own actions"}
	}
	return nil
}

// commitLoop gathers what waits and commits it together: one sync for several, and none
// fails for another's fault, because each is decided before anything is written.
func (c *core) commitLoop() {
	defer close(c.done)
	for {
		var batch []*waiting
		select {
		case w := <-c.queue:
			batch = append(batch, w)
		case <-c.stop:
			return
		}
	gather:
		for len(batch) < maxBatch {
			select {
			case w := <-c.queue:
				batch = append(batch, w)
			default:
				break gather
			}
		}
		c.commit(batch)
	}
}

// commit decides each of a batch, writes those that may go in, and answers all of them.
func (c *core) commit(batch []*waiting) {
	var (
		going []*pending
		size  int
	)
	for _, w := range batch {
		p, done := c.prepare(w, going)
		switch {
		case done != nil:
			w.answer <- *done
		case p != nil:
			going = append(going, p)
			for _, b := range p.blobs {
				size += len(b.data)
			}
		}
		if size > maxBatchBytes {
			c.flush(going)
			going, size = nil, 0
		}
	}
	c.flush(going)
}

// flush writes decided actions and answers them: all of them went in, or none.
func (c *core) flush(going []*pending) {
	if len(going) == 0 {
		return
	}
	err := c.write(going)
	if err != nil {
		c.fail(err)
	}
	for _, p := range going {
		if err != nil {
			p.result = admitted{err: fmt.Errorf("%w: %w", store.ErrBroken, err)}
		}
		for _, w := range append(p.also, p.w) {
			w.answer <- p.result
		}
	}
}

// prepare decides one action against everything before it. It answers at once what is
// refused and what was admitted before; the same bytes again join those that go in.
func (c *core) prepare(w *waiting, going []*pending) (p *pending, done *admitted) {
	defer func() {
		if r := recover(); r != nil {
			// The state ahead may be half changed: nothing more is decided on it.
			c.log.Error("panic while deciding", "panic", fmt.Sprint(r), "stack", string(debug.Stack()))
			c.fail(fmt.Errorf("panic while deciding: %v", r))
			p, done = nil, &admitted{err: c.isBroken()}
		}
	}()
	no := func(err error) (*pending, *admitted) { return nil, &admitted{err: err} }
	if err := c.isBroken(); err != nil {
		return no(err)
	}
	for _, g := range going {
		if bytes.Equal(g.w.envelope, w.envelope) && g.w.keyID == w.keyID && g.w.kind == w.kind {
			g.also = append(g.also, w)
			return nil, nil
		}
	}
	view := c.aheadView()
	if a, ok, err := c.before(view, w.envelope, w.kind); err != nil {
		return no(err)
	} else if ok {
		return nil, &a
	}
	signed, err := c.ahead.state.Open(w.envelope)
	if err != nil {
		return no(openFault(err))
	}
	if err := c.proper(signed, w.kind, w.keyID); err != nil {
		return no(err)
	}
	if err := c.decide(c.ahead, signed); err != nil {
		return no(err)
	}
	blobs, err := c.facts(view, signed.Action)
	if err != nil {
		return no(err)
	}
	entry := record.MakeEntry(w.envelope, c.now().UTC().Format(time.RFC3339))
	p = &pending{w: w, blobs: blobs, result: admitted{index: c.ahead.tree.Size(), entry: entry, action: signed.Action}}
	p.stored, p.first = c.ahead.apply(entry, signed)
	return p, nil
}

// write commits entries, tree hashes, blobs and the checkpoint in one transaction, then the
// checkpoint's own file, and only then shows it all to readers.
func (c *core) write(going []*pending) error {
	note, err := c.sign(c.ahead)
	if err != nil {
		return err
	}
	err = c.engine.Update(func(tx store.WriteTx) error {
		for _, p := range going {
			if err := p.put(tx); err != nil {
				return err
			}
		}
		return tx.PutDocument(headKind, headKey, note)
	})
	if err != nil {
		return fmt.Errorf("commit: %w", err)
	}
	if err := c.keep(note); err != nil {
		return fmt.Errorf("keep the checkpoint: %w", err)
	}
	c.publish(going, note)
	for _, p := range going {
		for _, b := range p.blobs {
			c.staged.remove(b.sha)
		}
	}
	return nil
}

// The head is kept inside the store too, so that a backup says what it is.
const (
	headKind = "head"
	headKey  = "checkpoint"
)

func (p *pending) put(tx store.WriteTx) error {
	if err := tx.PutEntry(p.result.index, p.result.entry); err != nil {
		return err
	}
	for i, h := range p.stored {
		if err := tx.PutHash(p.first+int64(i), h); err != nil {
			return err
		}
	}
	for _, b := range p.blobs {
		if err := putBlob(tx, b); err != nil {
			return fmt.Errorf("blob %s: %w", short(b.sha), err)
		}
	}
	return nil
}

// publish shows committed entries to readers and ends the streams of people who are no
// longer enrolled.
func (c *core) publish(going []*pending, note []byte) {
	c.mu.Lock()
	defer c.mu.Unlock()
	for _, p := range going {
		signed, err := c.committed.state.Open(p.w.envelope)
		if err != nil { // it opened against the same state a moment ago
			c.log.Error("reopen an admitted action", "entry", p.result.index, "error", err)
		}
		c.committed.apply(p.result.entry, signed)
	}
	c.checkpoint = note
	close(c.changed)
	c.changed = make(chan struct{})
	for _, s := range c.streams {
		if _, ok := c.committed.state.PersonByKey(s.keyID); !ok {
			s.cancel(noLongerEnrolled(s.keyID))
		}
	}
}

// fail stops writing: what the store holds is known again only after it was reopened.
func (c *core) fail(err error) {
	c.log.Error("a write failed; nothing is written until the server is started again", "error", err)
	c.mu.Lock()
	first := c.broken == nil
	if first {
		c.broken = fmt.Errorf("%w: %w", store.ErrBroken, err)
	}
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

// before answers an action that was admitted already: the same request id with the same
// bytes gets the first answer.
func (c *core) before(v view, envelope []byte, kind string) (admitted, bool, error) {
	id, ok := requestID(envelope)
	if !ok {
		return admitted{}, false, nil
	}
	index, sum, ok := v.Request(id)
	if !ok {
		return admitted{}, false, nil
	}
	if got := sha256.Sum256(envelope); hex.EncodeToString(got[:]) != sum {
		return admitted{}, false, refused("request-id", "request_id", "a request id that was not used before",
			"request id %.64q belongs to entry %d, which has other bytes", id, index)
	}
	var entry []byte
	err := c.engine.View(func(tx store.ReadTx) (err error) { entry, err = tx.Entry(index); return err })
	if err != nil {
		return admitted{}, false, fmt.Errorf("entry %d: %w", index, err)
	}
	action, err := peekAction(envelope)
	if err != nil {
		return admitted{}, false, err
	}
	if was := signoff.Kind(action); was != kind {
		return admitted{}, false, wrongKind(kind, was)
	}
	return admitted{index: index, entry: entry, action: action}, true, nil
}
