package memory

import (
	"bytes"
	"fmt"
	"maps"
	"slices"

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
	packed, ok := t.Blobs[sha256]
	if !ok {
		return nil, fmt.Errorf("blob %s: %w", sha256, store.ErrNotFound)
	}
	return append([]byte{}, packed...), nil
}

func (t *tx) Document(kind, key string) ([]byte, error) {
	if t.done {
		return nil, store.ErrClosed
	}
	if err := store.CheckDocument(kind, key); err != nil {
		return nil, err
	}
	value, ok := t.Documents[kind][key]
	if !ok {
		return nil, fmt.Errorf("%s %q: %w", kind, key, store.ErrNotFound)
	}
	return append([]byte{}, value...), nil
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
	for _, key := range slices.Sorted(maps.Keys(t.Documents[kind])) {
		if key < from {
			continue
		}
		more, err := fn(key, append([]byte{}, t.Documents[kind][key]...))
		if err != nil || !more {
			return err
		}
	}
	return nil
}

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
	t.Blobs[sha256] = bytes.Clone(packed)
	return nil
}

func (t *writeTx) PutDocument(kind, key string, value []byte) error {
	if err := t.may(store.CheckDocument(kind, key)); err != nil {
		return err
	}
	if t.Documents[kind] == nil {
		t.Documents[kind] = map[string][]byte{}
	}
	t.Documents[kind][key] = bytes.Clone(value)
	return nil
}

func (t *writeTx) DeleteDocument(kind, key string) error {
	if err := t.may(store.CheckDocument(kind, key)); err != nil {
		return err
	}
	delete(t.Documents[kind], key)
	return nil
}
