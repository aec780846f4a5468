package bolt

import (
	"bytes"
	"crypto/sha256"
	"encoding/binary"
	"encoding/hex"
	"errors"
	"fmt"

	"go.etcd.io/bbolt"
	"golang.org/x/mod/sumdb/tlog"

	"witnessmark/store"
)

// readTx copies whatever it answers: bbolt's own slices lie in the mapped file.
type readTx struct {
	tx       *bbolt.Tx
	byPage   *byPage // nil where bbolt reads
	release  func()
	done     bool
	scanning int
	wrote    int64 // bytes of the values that it wrote
}

// end lets the transaction go; after a commit it only marks it as over.
func (t *readTx) end() {
	t.done = true
	// bbolt.ErrTxClosed after a commit; and there is nothing to do about any other.
	_ = guard(t.tx.Rollback)
	t.release()
}

func number(n uint64) []byte { return binary.BigEndian.AppendUint64(nil, n) }

// cursor is one of a bucket; nil where there is no such bucket.
func (t *readTx) cursor(bucket []byte) cursor {
	if t.byPage != nil {
		if c := t.byPage.cursor(bucket); c != nil {
			return c
		}
	} else if b := t.tx.Bucket(bucket); b != nil {
		return b.Cursor()
	}
	return nil
}

// lookUp is a value that is where its key leads; unlike Seek it does not go on to the next page, so
// that it notices a key that leads to the wrong one.
func (t *readTx) lookUp(bucket, key []byte) []byte {
	if t.byPage != nil {
		return t.byPage.cursor(bucket).get(key)
	}
	return t.tx.Bucket(bucket).Get(key)
}

// get reads one value, or is ErrNotFound.
func (t *readTx) get(bucket, key []byte) (value []byte, err error) {
	if t.done {
		return nil, store.ErrClosed
	}
	err = guard(func() error {
		found := t.lookUp(bucket, key)
		if found == nil {
			return store.ErrNotFound
		}
		value, err = t.copied(found)
		return err
	})
	return value, err
}

// copied is never nil: what is empty is there all the same.
func (t *readTx) copied(b []byte) ([]byte, error) {
	if size := t.tx.Size() + t.wrote; int64(len(b)) > size {
		return nil, fmt.Errorf("%d bytes in a file of %d: %w", len(b), size, store.ErrDamaged)
	}
	return append([]byte{}, b...), nil
}

func (t *readTx) Entries() (next uint64, err error) {
	if t.done {
		return 0, store.ErrClosed
	}
	err = guard(func() error {
		last, _ := t.cursor(bucketEntries).Last()
		switch len(last) {
		case 0:
			return nil
		case 8:
			next = binary.BigEndian.Uint64(last) + 1
			return nil
		}
		return fmt.Errorf("an entry's key of %d bytes: %w", len(last), store.ErrDamaged)
	})
	return next, err
}

func (t *readTx) Entry(index uint64) ([]byte, error) {
	entry, err := t.get(bucketEntries, number(index))
	if err != nil {
		return nil, fmt.Errorf("entry %d: %w", index, err)
	}
	return entry, nil
}

func (t *readTx) Hash(index int64) (tlog.Hash, error) {
	raw, err := t.get(bucketHashes, number(uint64(index)))
	if err == nil && len(raw) != tlog.HashSize {
		err = fmt.Errorf("%d bytes, not %d: %w", len(raw), tlog.HashSize, store.ErrDamaged)
	}
	if err != nil {
		return tlog.Hash{}, fmt.Errorf("tree hash %d: %w", index, err)
	}
	return tlog.Hash(raw), nil
}

func (t *readTx) Blob(sha string) ([]byte, error) {
	key, err := store.ParseHash(sha)
	if err != nil {
		return nil, err
	}
	packed, err := t.get(bucketBlobs, key[:])
	if err != nil {
		return nil, fmt.Errorf("blob %s: %w", sha, err)
	}
	return packed, nil
}

// documentKey puts a NUL, which no kind holds, between kind and key: kinds stay apart, keys in order.
func documentKey(kind, key string) []byte {
	return append(append([]byte(kind), 0), key...)
}

func (t *readTx) Document(kind, key string) ([]byte, error) {
	if err := store.CheckDocument(kind, key); err != nil {
		return nil, err
	}
	value, err := t.get(bucketDocuments, documentKey(kind, key))
	if err != nil {
		return nil, &documentError{kind, key, err}
	}
	return value, nil
}

// documentError puts its text together only for whoever reads it: that a document is not there is
// the answer to many questions.
type documentError struct {
	kind, key string
	err       error
}

func (e *documentError) Error() string { return fmt.Sprintf("%s %q: %v", e.kind, e.key, e.err) }
func (e *documentError) Unwrap() error { return e.err }

func (t *readTx) Sum() (store.Sum, error) {
	raw, err := t.get(bucketMeta, keySum)
	if errors.Is(err, store.ErrNotFound) || err == nil && len(raw) != len(store.Sum{}) {
		err = fmt.Errorf("%d bytes, not %d: %w", len(raw), len(store.Sum{}), store.ErrDamaged)
	}
	if err != nil {
		return store.Sum{}, fmt.Errorf("sum of documents: %w", err)
	}
	return store.Sum(raw), nil
}

func (t *readTx) Blobs(fn func(string, []byte) (bool, error)) error {
	return t.walk(bucketBlobs, nil, func(key, packed []byte) (bool, error) {
		if len(key) != sha256.Size {
			return false, fmt.Errorf("blob of name %x: %w", key, store.ErrDamaged)
		}
		return fn(hex.EncodeToString(key), packed)
	})
}

func (t *readTx) Scan(kind, from string, fn func(string, []byte) (bool, error)) error {
	if err := store.CheckDocument(kind, from); err != nil && !t.done {
		return err
	}
	prefix := documentKey(kind, "")
	return t.walk(bucketDocuments, documentKey(kind, from), func(k, value []byte) (bool, error) {
		key, found := bytes.CutPrefix(k, prefix)
		if !found {
			return false, nil
		}
		return fn(string(key), value)
	})
}

func (t *readTx) Documents(fn func(string, string, []byte) (bool, error)) error {
	return t.walk(bucketDocuments, nil, func(k, value []byte) (bool, error) {
		kind, key, found := bytes.Cut(k, []byte{0})
		if !found {
			return false, fmt.Errorf("document of no kind: %w", store.ErrDamaged)
		}
		return fn(string(kind), string(key), value)
	})
}

// walk goes through a bucket upwards from a key. fn gets copies, and is not guarded: it is the caller's.
func (t *readTx) walk(bucket, from []byte, fn func(key, value []byte) (more bool, err error)) error {
	if t.done {
		return store.ErrClosed
	}
	t.scanning++
	defer func() { t.scanning-- }()
	var c cursor
	for {
		var key, value []byte
		err := guard(func() (err error) {
			var k, v []byte
			if c == nil {
				c = t.cursor(bucket)
				k, v = c.Seek(from)
			} else {
				k, v = c.Next()
			}
			if k == nil {
				return nil
			}
			if key, err = t.copied(k); err == nil {
				value, err = t.copied(v)
			}
			return err
		})
		if err != nil || key == nil {
			return err
		}
		if more, err := fn(key, value); err != nil || !more {
			return err
		}
	}
}
