package memory

import (
	"bytes"
	"fmt"
	"maps"
	"slices"
	"strings"

	"golang.org/x/mod/sumdb/tlog"

	"witnessmark/store"
)

type tx struct {
	*state
	done     bool
	scanning int
}

func (t *tx) Entries() (uint64, error) {
	if t.done {
		return 0, store.ErrClosed
	}
	return uint64(len(t.state.Entries)), nil
}

func (t *tx) Entry(index uint64) ([]byte, error) {
	if t.done {
		return nil, store.ErrClosed
	}
	if index >= uint64(len(t.state.Entries)) {
		return nil, fmt.Errorf("entry %d: %w", index, store.ErrNotFound)
	}
	return bytes.Clone(t.state.Entries[index]), nil
}

func (t *tx) Hash(index int64) (tlog.Hash, error) {
	if t.done {
		return tlog.Hash{}, store.ErrClosed
	}
	h, ok := t.Hashes[index]
	if !ok {
		return tlog.Hash{}, fmt.Errorf("tree hash %d: %w", index, store.ErrNotFound)
	}
	return h, nil
}

func (t *tx) Blob(sha256 string) ([]byte, error) {
	if t.done {
		return nil, store.ErrClosed
	}
	if _, err := store.ParseHash(sha256); err != nil {
		return nil, err
	}
	packed, ok := t.state.Blobs[sha256]
	if !ok {
		return nil, fmt.Errorf("blob %s: %w", sha256, store.ErrNotFound)
	}
	return copied(packed), nil
}

func (t *tx) Document(kind, key string) ([]byte, error) {
	if t.done {
		return nil, store.ErrClosed
	}
	if err := store.CheckDocument(kind, key); err != nil {
		return nil, err
	}
	at, ok := t.find(kind, key)
	if !ok {
		return nil, fmt.Errorf("%s %q: %w", kind, key, store.ErrNotFound)
	}
	return copied(t.state.Documents[kind][at].Value), nil
}

func (t *tx) Sum() (store.Sum, error) {
	if t.done {
		return store.Sum{}, store.ErrClosed
	}
	return t.state.Sum, nil
}

func (t *tx) Blobs(fn func(string, []byte) (bool, error)) error {
	if t.done {
		return store.ErrClosed
	}
	t.scanning++
	defer func() { t.scanning-- }()
	for _, sha := range slices.Sorted(maps.Keys(t.state.Blobs)) {
		if more, err := fn(sha, copied(t.state.Blobs[sha])); err != nil || !more {
			return err
		}
	}
	return nil
}

func (t *tx) Scan(kind, from string, fn func(string, []byte) (bool, error)) error {
	if t.done {
		return store.ErrClosed
	}
	if err := store.CheckDocument(kind, from); err != nil {
		return err
	}
	t.scanning++
	defer func() { t.scanning-- }()
	at, _ := t.find(kind, from)
	for _, d := range t.state.Documents[kind][at:] {
		if more, err := fn(d.Key, copied(d.Value)); err != nil || !more {
			return err
		}
	}
	return nil
}

func (t *tx) Documents(fn func(string, string, []byte) (bool, error)) error {
	if t.done {
		return store.ErrClosed
	}
	on := true
	for _, kind := range slices.Sorted(maps.Keys(t.state.Documents)) {
		err := t.Scan(kind, "", func(key string, value []byte) (more bool, err error) {
			on, err = fn(kind, key, value)
			return on, err
		})
		if err != nil || !on {
			return err
		}
	}
	return nil
}

// find is where a document stands in its kind, or would.
func (t *tx) find(kind, key string) (at int, found bool) {
	return slices.BinarySearchFunc(t.state.Documents[kind], key, func(d document, key string) int { return strings.Compare(d.Key, key) })
}

// copied is never nil: what is empty is there all the same.
func copied(b []byte) []byte { return append([]byte{}, b...) }

type writeTx struct {
	tx
	failed error // the first write that failed; it fails the whole Update
}

// may is whether a write may go on, given what was wrong with its arguments.
func (t *writeTx) may(err error) error {
	switch {
	case t.done:
		return store.ErrClosed
	case err == nil && t.scanning > 0:
		err = fmt.Errorf("a write while scanning: %w", store.ErrInvalid)
	}
	if err != nil && t.failed == nil {
		t.failed = err
	}
	return err
}

func (t *writeTx) PutEntry(index uint64, entry []byte) error {
	if err := t.may(store.CheckEntry(index, uint64(len(t.state.Entries)), entry)); err != nil {
		return err
	}
	t.state.Entries = append(t.state.Entries, bytes.Clone(entry))
	return nil
}

func (t *writeTx) PutHash(index int64, h tlog.Hash) error {
	var err error
	if index < 0 {
		err = fmt.Errorf("tree hash %d: %w", index, store.ErrInvalid)
	}
	if err := t.may(err); err != nil {
		return err
	}
	t.Hashes[index] = h
	return nil
}

func (t *writeTx) PutBlob(sha256 string, packed []byte) error {
	_, err := store.ParseHash(sha256)
	if err := t.may(err); err != nil {
		return err
	}
	t.state.Blobs[sha256] = copied(packed)
	return nil
}

func (t *writeTx) DeleteBlob(sha256 string) error {
	_, err := store.ParseHash(sha256)
	if err := t.may(err); err != nil {
		return err
	}
	delete(t.state.Blobs, sha256)
	return nil
}

func (t *writeTx) PutDocument(kind, key string, value []byte) error {
	sum, err := store.SumWith(t, kind, key, value)
	if err := t.may(err); err != nil {
		return err
	}
	at, found := t.find(kind, key)
	d := document{key, copied(value)}
	if found {
		t.state.Documents[kind][at] = d
	} else {
		t.state.Documents[kind] = slices.Insert(t.state.Documents[kind], at, d)
	}
	t.state.Sum = sum
	return nil
}

func (t *writeTx) DeleteDocument(kind, key string) error {
	sum, err := store.SumWithout(t, kind, key)
	if err := t.may(err); err != nil {
		return err
	}
	if at, found := t.find(kind, key); found {
		t.state.Documents[kind] = slices.Delete(t.state.Documents[kind], at, at+1)
	}
	t.state.Sum = sum
	return nil
}

func (t *writeTx) DropDocuments() error {
	if err := t.may(nil); err != nil {
		return err
	}
	t.state.Documents, t.state.Sum = map[string][]document{}, store.Sum{}
	return nil
}
