package postgres

import (
	"bytes"
	"encoding/hex"
	"fmt"
	"maps"
	"slices"
	"strings"

	"golang.org/x/mod/sumdb/tlog"

	"witnessmark/store"
)

// pendingBytes is how much a transaction gathers before the database gets it.
const pendingBytes = 16 << 20

// writeTx gathers writes, and sends them together: at the latest with the commit.
type writeTx struct {
	*readTx
	wrote   bool
	refused error     // the first write that was; it fails the whole Update
	sum     store.Sum // of the documents, but for the unwritten
	before  uint64    // entries, when it began

	entries   [][]byte // the newest, not sent
	newHashes map[int64]tlog.Hash
	blobs     map[string]value // by name; nil is deleted
	unwritten map[name]*document
	pending   int            // bytes of all these
	writes    []call         // made of them, in order, and not sent
	changed   map[name]value // what is sent or made, for the cache; nil for too much
}

func newWriteTx(r *readTx) *writeTx {
	t := &writeTx{readTx: r, sum: r.state.sum, before: r.state.entries, changed: map[name]value{}}
	t.forget()
	r.flush = t.send
	return t
}

// forget is after all that waited became calls.
func (t *writeTx) forget() {
	t.entries, t.newHashes, t.blobs, t.unwritten = nil, map[int64]tlog.Hash{}, map[string]value{}, map[name]*document{}
}

// may is whether a write may go on, given what was wrong with its arguments.
func (t *writeTx) may(err error) error {
	switch {
	case t.done:
		return store.ErrClosed
	case err == nil && t.scanning > 0:
		err = fmt.Errorf("a write while scanning: %w", store.ErrInvalid)
	}
	if err != nil && t.refused == nil {
		t.refused = err
	}
	t.wrote = t.wrote || err == nil
	return err
}

// gathered sends what waits when it is much.
func (t *writeTx) gathered(bytes int) error {
	if t.pending += bytes; t.pending < pendingBytes {
		return nil
	}
	return t.send()
}

func (t *writeTx) send() error {
	if err := t.build(); err != nil || len(t.writes) == 0 {
		return err
	}
	calls := t.writes
	t.writes, t.pending, t.sent = nil, 0, true
	_, err := t.ask(calls...)
	return err
}

// build makes calls of what waits.
func (t *writeTx) build() error {
	if err := t.buildDocuments(); err != nil {
		return err
	}
	if len(t.entries) > 0 {
		var numbers [][]byte
		for i := range t.entries {
			numbers = append(numbers, integer(int64(t.state.entries)-int64(len(t.entries)-i)))
		}
		t.writes = append(t.writes, do(putEntries, array(oidBigint, numbers), array(oidBytea, t.entries)))
	}
	if len(t.newHashes) > 0 {
		var numbers, hashes [][]byte
		for _, index := range slices.Sorted(maps.Keys(t.newHashes)) {
			h := t.newHashes[index]
			t.change(hashName(index), h[:])
			numbers, hashes = append(numbers, integer(index)), append(hashes, h[:])
		}
		t.writes = append(t.writes, do(putHashes, array(oidBigint, numbers), array(oidBytea, hashes)))
	}
	number := integer(t.state.number + 1)
	for _, sha := range slices.Sorted(maps.Keys(t.blobs)) {
		key, _ := hex.DecodeString(sha)
		if packed := t.blobs[sha]; packed != nil {
			t.writes = append(t.writes, do(putBlob, key, packed, number))
		} else {
			t.writes = append(t.writes, do(deleteBlob, key, number))
		}
	}
	t.forget()
	return nil
}

// buildDocuments asks for those stored documents that the sum still counts and nobody read.
func (t *writeTx) buildDocuments() error {
	names := slices.SortedFunc(maps.Keys(t.unwritten), func(a, b name) int {
		if c := strings.Compare(a.kind, b.kind); c != 0 {
			return c
		}
		return strings.Compare(a.key, b.key)
	})
	var unknown []name
	for _, n := range names {
		if !t.unwritten[n].known {
			unknown = append(unknown, n)
		}
	}
	if len(unknown) > 0 {
		kinds, keys := columns(unknown)
		got, err := t.ask(do(readDocuments, array(oidBytea, kinds), array(oidBytea, keys)))
		if err != nil {
			return err
		}
		for _, row := range got[0].rows {
			t.unwritten[name{string(row[0]), string(row[1])}].stored = row[2]
		}
	}
	var put, deleted []name
	var values [][]byte
	for _, n := range names {
		d := t.unwritten[n]
		if d.stored != nil {
			t.sum = t.sum.Remove(n.kind, n.key, d.stored)
		}
		if d.now != nil {
			t.sum = t.sum.Add(n.kind, n.key, d.now)
		}
		switch same := bytes.Equal(d.stored, d.now); {
		case d.now == nil && d.stored != nil:
			deleted = append(deleted, n)
		case d.now != nil && (d.stored == nil || !same):
			put, values = append(put, n), append(values, d.now)
		}
		d.stored, d.known, d.written = d.now, true, false
		t.change(n, d.now)
	}
	if len(deleted) > 0 {
		kinds, keys := columns(deleted)
		t.writes = append(t.writes, do(deleteDocuments, array(oidBytea, kinds), array(oidBytea, keys)))
	}
	if len(put) > 0 {
		kinds, keys := columns(put)
		t.writes = append(t.writes, do(putDocuments, array(oidBytea, kinds), array(oidBytea, keys), array(oidBytea, values)))
	}
	return nil
}

// change notes one for the cache.
func (t *writeTx) change(n name, v value) {
	if t.changed == nil || len(t.changed) >= changesMost || len(v) > cacheLargest {
		t.changed = nil
		return
	}
	t.changed[n] = v
}

func columns(names []name) (kinds, keys [][]byte) {
	for _, n := range names {
		kinds, keys = append(kinds, []byte(n.kind)), append(keys, []byte(n.key))
	}
	return kinds, keys
}

func (t *writeTx) Entry(index uint64) ([]byte, error) {
	sent := t.state.entries - uint64(len(t.entries))
	if !t.done && index >= sent && index < t.state.entries {
		return copied(t.entries[index-sent]), nil
	}
	return t.readTx.Entry(index)
}

func (t *writeTx) Hash(index int64) (tlog.Hash, error) {
	if h, ok := t.newHashes[index]; ok && !t.done {
		return h, nil
	}
	return t.readTx.Hash(index)
}

func (t *writeTx) Blob(sha string) ([]byte, error) {
	packed, ok := t.blobs[sha]
	switch {
	case !ok || t.done:
		return t.readTx.Blob(sha)
	case packed == nil:
		return nil, fmt.Errorf("blob %s: %w", sha, store.ErrNotFound)
	}
	return copied(packed), nil
}

// Sum is that of what this transaction wrote.
func (t *writeTx) Sum() (store.Sum, error) {
	if t.done {
		return store.Sum{}, store.ErrClosed
	}
	err := t.send()
	return t.sum, err
}

func (t *writeTx) PutEntry(index uint64, entry []byte) error {
	if err := t.may(store.CheckEntry(index, t.state.entries, entry)); err != nil {
		return err
	}
	t.entries = append(t.entries, copied(entry))
	t.state.entries++
	return t.gathered(len(entry))
}

func (t *writeTx) PutHash(index int64, h tlog.Hash) error {
	var err error
	if index < 0 {
		err = fmt.Errorf("tree hash %d: %w", index, store.ErrInvalid)
	}
	if err := t.may(err); err != nil {
		return err
	}
	t.newHashes[index] = h
	delete(t.hashes.rows, index)
	return t.gathered(len(h))
}

func (t *writeTx) PutBlob(sha256 string, packed []byte) error {
	_, err := store.ParseHash(sha256)
	if err := t.may(err); err != nil {
		return err
	}
	t.blobs[sha256] = copied(packed)
	return t.gathered(len(packed))
}

func (t *writeTx) DeleteBlob(sha256 string) error {
	_, err := store.ParseHash(sha256)
	if err := t.may(err); err != nil {
		return err
	}
	t.blobs[sha256] = nil
	return nil
}

func (t *writeTx) PutDocument(kind, key string, value []byte) error {
	return t.set(kind, key, copied(value))
}

func (t *writeTx) DeleteDocument(kind, key string) error { return t.set(kind, key, nil) }

func (t *writeTx) set(kind, key string, v value) error {
	if err := t.may(store.CheckDocument(kind, key)); err != nil {
		return err
	}
	n := name{kind, key}
	d := t.documents[n]
	if d == nil {
		d = t.keep(n, &document{}, len(v))
	}
	d.now, d.written = v, true
	t.unwritten[n] = d
	return t.gathered(len(kind) + len(key) + len(v))
}

func (t *writeTx) DropDocuments() error {
	if err := t.may(nil); err != nil {
		return err
	}
	clear(t.unwritten)
	clear(t.documents)
	if err := t.build(); err != nil {
		return err
	}
	t.writes, t.sum, t.changed = append(t.writes, do(dropDocuments)), store.Sum{}, nil
	return t.send()
}
