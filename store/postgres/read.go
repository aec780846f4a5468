package postgres

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"maps"

	"golang.org/x/mod/sumdb/tlog"

	"witnessmark/store"
)

// keptBytes of documents a transaction remembers.
const keptBytes = 16 << 20

// readTx reads in one transaction, of a state that does not change but by its own writes.
type readTx struct {
	e        *Engine
	c        *conn
	state    state
	done     bool
	ended    bool
	scanning int
	failed   error // the first failure; the database's transaction is over with it
	sent     bool  // something was written, so that what is read is not what it was
	asked    bool  // for what is usually read
	// What was read before is not asked for again. A transaction that writes keeps its writes there.
	documents map[name]*document
	kept      int
	ahead     ahead[[]byte]
	hashes    ahead[tlog.Hash]
	// flush has the database see all that was written.
	flush func() error
}

type name struct{ kind, key string }

// document is what a transaction knows of one.
type document struct {
	now     value
	stored  value // in the database; meaningless before known
	known   bool
	written bool // since it was stored
}

// value of nil is of a document that is not there.
type value []byte

func newReadTx(e *Engine, c *conn, s state) *readTx {
	return &readTx{e: e, c: c, state: s, documents: map[name]*document{}, flush: func() error { return nil }}
}

// end lets the transaction go. What of it was not committed is undone.
func (t *readTx) end() {
	if !t.ended {
		t.ended = true
		t.e.release(t.c)
		t.e.using.RUnlock()
	}
}

// ask has the database answer.
func (t *readTx) ask(calls ...call) ([]answer, error) {
	if t.failed != nil {
		return nil, t.failed
	}
	got, err := t.c.run(calls...)
	if err != nil {
		t.e.lost(t.c, err)
		t.failed = t.e.explained(err)
	}
	return got, t.failed
}

// rows is what one call brings.
func (t *readTx) rows(q query, args ...[]byte) ([][][]byte, error) {
	got, err := t.ask(do(q, args...))
	if err != nil {
		return nil, err
	}
	return got[0].rows, nil
}

func (t *readTx) Entries() (uint64, error) {
	if t.done {
		return 0, store.ErrClosed
	}
	return t.state.entries, nil
}

func (t *readTx) Entry(index uint64) ([]byte, error) {
	if t.done {
		return nil, store.ErrClosed
	}
	entry, found, err := t.ahead.get(int64(index), func(from int64, rows int) ([][][]byte, error) {
		return t.rows(readEntries, integer(from), integer(int64(rows)), integer(chunkBytes))
	}, func(b []byte) ([]byte, error) { return b, nil })
	if err == nil && (!found || index >= t.state.entries) {
		err = store.ErrNotFound
	}
	if err != nil {
		return nil, fmt.Errorf("entry %d: %w", index, err)
	}
	return bytes.Clone(entry), nil
}

func (t *readTx) Hash(index int64) (tlog.Hash, error) {
	if t.done {
		return tlog.Hash{}, store.ErrClosed
	}
	if kept, ok := t.cached(hashName(index)); ok && len(kept) == tlog.HashSize {
		return tlog.Hash(kept), nil
	}
	if err := t.askUsual(hashName(index)); err != nil {
		return tlog.Hash{}, fmt.Errorf("tree hash %d: %w", index, err)
	}
	hash, found, err := t.hashes.get(index, func(from int64, rows int) ([][][]byte, error) {
		return t.rows(readHashes, integer(from), integer(int64(rows)))
	}, parseHash)
	if err == nil && !found {
		err = store.ErrNotFound
	}
	if err != nil {
		return tlog.Hash{}, fmt.Errorf("tree hash %d: %w", index, err)
	}
	t.fresh(hashName(index), hash[:])
	return hash, nil
}

func parseHash(b []byte) (h tlog.Hash, err error) {
	if copy(h[:], b); len(b) != len(h) {
		err = fmt.Errorf("%d bytes, not %d: %w", len(b), len(h), store.ErrDamaged)
	}
	return h, err
}

func (t *readTx) Blob(sha string) ([]byte, error) {
	if t.done {
		return nil, store.ErrClosed
	}
	key, err := store.ParseHash(sha)
	if err != nil {
		return nil, err
	}
	found, err := t.rows(readBlob, key[:])
	if err == nil && len(found) == 0 {
		err = store.ErrNotFound
	}
	if err != nil {
		return nil, fmt.Errorf("blob %s: %w", sha, err)
	}
	return found[0][0], nil
}

func (t *readTx) Document(kind, key string) ([]byte, error) {
	if t.done {
		return nil, store.ErrClosed
	}
	if err := store.CheckDocument(kind, key); err != nil {
		return nil, err
	}
	d, err := t.document(name{kind, key})
	if err != nil {
		return nil, fmt.Errorf("%s %q: %w", kind, key, err)
	}
	if d.now == nil {
		return nil, &notFound{kind, key}
	}
	return copied(d.now), nil
}

// document asks the database at last.
func (t *readTx) document(n name) (*document, error) {
	if d := t.documents[n]; d != nil {
		return d, nil
	}
	if found, ok := t.cached(n); ok {
		return t.remember(n, found), nil
	}
	if err := t.askUsual(n); err != nil {
		return nil, err
	}
	if d := t.documents[n]; d != nil {
		return d, nil
	}
	rows, err := t.rows(readDocument, []byte(n.kind), []byte(n.key))
	if err != nil {
		return nil, err
	}
	var found value
	if len(rows) > 0 {
		found = rows[0][0]
	}
	t.fresh(n, found)
	return t.remember(n, found), nil
}

// askUsual asks at the first miss for what is usually read, together with what was missed.
func (t *readTx) askUsual(missed name) error {
	if t.asked || t.e.uncached {
		return nil
	}
	t.asked = true
	names := t.e.cache.lacks(t.c.epoch, t.state.number)
	if len(names) == 0 {
		return nil
	}
	var documents []name
	var numbers [][]byte
	for _, n := range append(names, missed) {
		if n.kind == "" {
			numbers = append(numbers, []byte(n.key))
		} else if t.documents[n] == nil {
			documents = append(documents, n)
		}
	}
	kinds, keys := columns(documents)
	got, err := t.ask(do(readDocuments, array(oidBytea, kinds), array(oidBytea, keys)), do(readHashesOf, array(oidBigint, numbers)))
	if err != nil {
		return err
	}
	found := map[name]value{}
	for _, row := range got[0].rows {
		found[name{string(row[0]), string(row[1])}] = row[2]
	}
	for _, n := range documents {
		t.fresh(n, found[n])
		t.remember(n, found[n])
	}
	for _, row := range got[1].rows {
		if h, err := parseHash(row[1]); err == nil { // else whoever asks for it is told
			t.hashes.add(int64(binary.BigEndian.Uint64(row[0])), h)
			t.fresh(name{"", string(row[0])}, row[1])
		}
	}
	return nil
}

// cached is what an earlier transaction read of the same state.
func (t *readTx) cached(n name) (value, bool) {
	if t.sent || t.e.uncached {
		return nil, false
	}
	return t.e.cache.get(t.c.epoch, t.state.number, n)
}

// fresh keeps for later transactions what was stored when this one began.
func (t *readTx) fresh(n name, v value) {
	if !t.sent {
		t.e.cache.read(t.c.epoch, t.state.update, n, v)
	}
}

// notFound puts its text together only for whoever reads it.
type notFound struct{ kind, key string }

func (e *notFound) Error() string { return fmt.Sprintf("%s %q: %v", e.kind, e.key, store.ErrNotFound) }
func (e *notFound) Unwrap() error { return store.ErrNotFound }

// copied is never nil: what is empty is there all the same.
func copied(b []byte) []byte { return append([]byte{}, b...) }

// remember keeps what the database holds.
func (t *readTx) remember(n name, v value) *document {
	return t.keep(n, &document{now: v, stored: v, known: true}, len(v))
}

// keep forgets others when they become many.
func (t *readTx) keep(n name, d *document, size int) *document {
	if t.kept += len(n.kind) + len(n.key) + size; t.kept > keptBytes {
		maps.DeleteFunc(t.documents, func(_ name, d *document) bool { return !d.written })
		t.kept = 0
	}
	t.documents[n] = d
	return d
}

func (t *readTx) Sum() (store.Sum, error) {
	if t.done {
		return store.Sum{}, store.ErrClosed
	}
	return t.state.sum, nil
}
