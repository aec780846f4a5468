package server

import (
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"runtime/debug"
	"slices"
	"time"

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
	// longestGather bounds how long the committer waits for actions that are on their way, before it writes those
	// that are there.
	longestGather = 200 * time.Millisecond
	// unknownFor is how long those wait whose commit got no answer: long enough for a database that is started
	// again, short enough for people.
	unknownFor = 15 * time.Second
)

// arrival is an action that was opened and decided, and its claims made again: it waits to become an
// entry. answer has room for one.
type arrival struct {
	signed   *signoff.Signed
	openings []*recordv1.Opening
	spooled  []*spooled
	reads    *store.Reads // what its claims were made from
	answer   chan admitted
	coming   bool // it is counted as on its way to the committer

	blobs  [][]byte // of the spooled ones, while it is written
	result admitted // of the transaction under way
}

// admitted is where an action went, or why it did not go in.
type admitted struct {
	index uint64
	entry []byte
	err   error
}

var (
	// errMoved is an action whose claims were made from what is not so any more.
	errMoved = errors.New("the record moved on")
	// errNothing undoes a transaction that nothing was entered in.
	errNothing = errors.New("nothing was entered")
)

// commitLoop gathers what waits and commits it together: one sync for several, and none fails for
// another's fault, because each is decided before anything of it is written.
func (c *core) commitLoop() {
	defer close(c.done)
	took := time.Duration(0)
	for {
		select {
		case a := <-c.queue:
			batch := c.gather(a, min(took, longestGather))
			begun := time.Now()
			c.commit(batch)
			took = time.Since(begun)
		case <-c.stop:
			return
		}
	}
}

// gather is the first to arrive and those that arrive while others are on their way: what is computed now comes soon. It
// waits for them as long as a commit takes, at most, so that whoever is never done costs others half of their rate.
// Nobody waits who is alone.
func (c *core) gather(first *arrival, within time.Duration) []*arrival {
	batch, size := []*arrival{first}, first.bytes()
	c.there(first)
	end := time.Now().Add(within)
	for len(batch) < c.most && size < maxBatchBytes {
		wait := time.Millisecond // then it is looked who is on their way still
		if c.coming.Load() == 0 || time.Now().After(end) {
			wait = 0
		}
		a := c.next(wait)
		if a == nil && wait == 0 {
			break
		}
		if a != nil {
			c.there(a)
			batch = append(batch, a)
			size += a.bytes()
		}
	}
	return batch
}

// comes counts an action as on its way, there as no more so: it has arrived, or never will.
func (c *core) comes(a *arrival) {
	if !a.coming {
		a.coming = true
		c.coming.Add(1)
	}
}

func (c *core) there(a *arrival) {
	if a.coming {
		a.coming = false
		c.coming.Add(-1)
	}
}

// next is the next that arrives within a time; nil where none does.
func (c *core) next(wait time.Duration) *arrival {
	if wait == 0 {
		select {
		case a := <-c.queue:
			return a
		default:
			return nil
		}
	}
	select {
	case a := <-c.queue:
		return a
	case <-time.After(wait):
		return nil
	}
}

func (a *arrival) bytes() (n uint64) {
	for _, b := range a.spooled {
		n += b.size
	}
	return n
}

// load brings the spooled bytes into memory.
func (a *arrival) load() error {
	a.blobs = nil
	for _, b := range a.spooled {
		data, err := b.read()
		if err != nil {
			return err
		}
		a.blobs = append(a.blobs, data)
	}
	return nil
}

// commit writes those of a batch that may go in, and answers all of them.
func (c *core) commit(batch []*arrival) {
	var going []*arrival
	for _, a := range batch {
		if a.result.err = a.load(); a.result.err == nil {
			going = append(going, a)
		}
	}
	err, failed := c.isBroken(), false
	if err == nil && len(going) > 0 {
		err = c.home.fits(going)
	}
	if err == nil && len(going) > 0 {
		if err = c.writeUntilKnown(going); err != nil && !c.home.survives(err) {
			failed = true
			c.fail(err)
			err = c.isBroken()
		}
	}
	for _, a := range batch {
		if err != nil {
			a.result = admitted{err: err}
		}
		a.blobs = nil
		if c.home.shared() && a.erases() && a.result.err == nil {
			go c.answerErased(a)
			continue
		}
		a.answer <- a.result
	}
	if failed {
		close(c.ended)
	}
}

// answerErased answers an erasure in a database once its bytes are gone, for which others that write need not wait.
func (c *core) answerErased(a *arrival) {
	if err := c.home.finishErasing(0); err != nil {
		a.result = admitted{err: err}
	}
	a.answer <- a.result
}

// writeUntilKnown writes a batch. Where it is not known what became of it, it is written again once the store is
// certain, and request ids decide; who waits too long is told that it is not known.
func (c *core) writeUntilKnown(batch []*arrival) error {
	unknown := false
	for end, pause := time.Now().Add(c.unknown), time.Millisecond; ; pause = min(2*pause, time.Second) {
		err := c.write(batch)
		if err == nil || isUnavailable(err) { // a full disk says nothing of it
			c.reached(err)
		}
		if err == nil {
			return nil
		}
		unknown = unknown || errors.Is(err, store.ErrUncertain)
		if !unknown {
			return err
		}
		if !isAway(err) || time.Now().After(end) {
			return fmt.Errorf("%w: %w", store.ErrUncertain, err)
		}
		select {
		case <-time.After(pause):
		case <-c.stop:
			return fmt.Errorf("%w: %w", store.ErrUncertain, err)
		}
	}
}

// write commits entries, blobs and documents in one transaction, then the checkpoint, and only then shows it
// all. Bytes that an action erased are gone from a folder's files by then.
func (c *core) write(batch []*arrival) (err error) {
	defer func() {
		if r := recover(); r != nil {
			c.log.Error("panic while writing", "panic", fmt.Sprint(r), "stack", string(debug.Stack()))
			err = fmt.Errorf("panic while writing: %v", r)
		}
	}()
	if erases(batch) {
		if err := c.home.beginErasing(); err != nil {
			return err
		}
	}
	var (
		note         []byte
		before, size uint64
	)
	at := c.now().UTC().Format(time.RFC3339)
	begun := time.Now()
	err = c.engine.Update(func(w store.WriteTx) error {
		s := record.Read(w)
		if err := c.home.understands(s); err != nil {
			return err
		}
		before = s.Size()
		for _, a := range batch {
			if err := a.enter(w, at); err != nil {
				return err
			}
		}
		s = record.Read(w)
		if size = s.Size(); size == before {
			return errors.Join(s.Err(), errNothing)
		}
		note, err = sign(s, c.home.key)
		return errors.Join(s.Err(), err)
	})
	nothing := errors.Is(err, errNothing)
	if err != nil && !nothing {
		return fmt.Errorf("commit: %w", err)
	}
	if !nothing {
		committed := time.Now()
		c.figures.commit.Observe(committed.Sub(begun).Seconds())
		if err := c.keep(note); err != nil {
			return fmt.Errorf("keep the checkpoint: %w", err)
		}
		c.figures.sync.Observe(time.Since(committed).Seconds())
	}
	if !c.home.shared() && erases(batch) {
		if err := c.home.finishErasing(0); err != nil {
			return err
		}
	}
	if nothing {
		return c.refresh() // what the answers rest on may be others' work
	}
	c.figures.entries.Add(float64(size - before))
	c.show(note, size)
	return nil
}

func erases(batch []*arrival) bool { return slices.ContainsFunc(batch, (*arrival).erases) }

func (a *arrival) erases() bool { return a.signed.Action.GetErase() != nil }

// enter decides an action against everything before it and writes it. What goes against the action
// is its result; an error is the store's.
func (a *arrival) enter(w store.WriteTx, at string) error {
	s := record.Write(w)
	r, err := a.standing(w, s)
	if err != nil || r != nil {
		if r != nil {
			a.result = *r
		}
		return err
	}
	base := baseOf(s, a.signed.Action)
	o := record.Decided(a.signed, at)
	index, err := s.Apply(o, a.openings)
	if err != nil {
		return err
	}
	for i, data := range a.blobs {
		if _, err := store.PutBlob(w, data, base[a.spooled[i].sha]); err != nil {
			return err
		}
	}
	a.result = admitted{index: index, entry: o.Entry}
	return s.Finish()
}

// standing is the answer that an action has as things are now: the entry that it is, why the rules refuse it, or
// errMoved where its claims were made from what is not so any more; nil where none of these.
func (a *arrival) standing(tx store.ReadTx, s *record.State) (*admitted, error) {
	first, err := earlier(tx, s, a.signed)
	if err != nil || first != nil {
		return first, err
	}
	if err := record.Decide(s, a.signed); err != nil {
		return &admitted{err: err}, s.Err()
	}
	same, err := a.reads.Same(tx)
	if err != nil || same {
		return nil, err
	}
	return &admitted{err: errMoved}, nil
}

// baseOf says what images are packed against: the read as found of their job.
func baseOf(s *record.State, a *recordv1.Action) map[string]string {
	out := map[string]string{}
	for _, b := range record.Brings(a) {
		if b.What == record.AnImage {
			job, _ := s.Job(record.JobOf(a))
			out[b.SHA256] = record.AsFound(job).GetImage().GetSha256()
		}
	}
	return out
}

// earlier answers an action that is an entry already: the same bytes get the first answer, for ever.
func earlier(tx store.ReadTx, s *record.State, signed *signoff.Signed) (*admitted, error) {
	index, sum, ok := s.Request(signed.Action.GetRequestId())
	if got := sha256.Sum256(signed.Envelope); !ok || hex.EncodeToString(got[:]) != sum {
		return nil, s.Err()
	}
	entry, err := tx.Entry(index)
	return &admitted{index: index, entry: entry}, err
}
