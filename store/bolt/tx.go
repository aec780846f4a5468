package bolt

import (
	"bytes"
	"encoding/binary"
	"fmt"

	"go.etcd.io/bbolt"
	"golang.org/x/mod/sumdb/tlog"

	"witnessmark/store"
)

// readTx copies whatever it answers: bbolt's own slices lie in the mapped file.
type readTx struct {
	tx       *bbolt.Tx
	done     bool
	scanning int
}

// end lets the transaction go; after a commit it only marks it as over.
func (t *writeTx) end() {
	t.done = true
	// bbolt.ErrTxClosed after a commit; and there is nothing to do about any other.
	_ = guard(t.tx.Rollback)
}

func number(n uint64) []byte { return binary.BigEndian.AppendUint64(nil, n) }

// get reads one value, or is ErrNotFound.
func (t *readTx) get(bucket, key []byte) (value []byte, err error) {
	if t.done {
		return nil, store.ErrClosed
	}
	err = guard(func() error {
		found := t.tx.Bucket(bucket).Get(key)
		if found == nil {
			return store.ErrNotFound
		}
		value = append([]byte{}, found...)
		return nil
	})
	return value, err
}

func (t *readTx) Entries() (next uint64, err error) {
	if t.done {
		return 0, store.ErrClosed
	}
	err = guard(func() error {
		last, _ := t.tx.Bucket(bucketEntries).Cursor().Last()
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

func (t *readTx) Blob(sha256 string) ([]byte, error) {
	key, err := store.ParseHash(sha256)
	if err != nil {
		return nil, err
	}
	packed, err := t.get(bucketBlobs, key[:])
	if err != nil {
		return nil, fmt.Errorf("blob %s: %w", sha256, err)
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
		return nil, fmt.Errorf("%s %q: %w", kind, key, err)
	}
	return value, nil
}

func (t *readTx) Scan(kind, from string, fn func(string, []byte) (bool, error)) error {
	if t.done {
		return store.ErrClosed
	}
	if err := store.CheckDocument(kind, from); err != nil {
		return err
	}
	t.scanning++
	defer func() { t.scanning-- }()
	prefix := documentKey(kind, "")
	var cursor *bbolt.Cursor
	for {
		var key string
		var value []byte
		found := false
		err := guard(func() error {
			var k, v []byte
			if cursor == nil {
				cursor = t.tx.Bucket(bucketDocuments).Cursor()
				k, v = cursor.Seek(documentKey(kind, from))
			} else {
				k, v = cursor.Next()
			}
			if found = bytes.HasPrefix(k, prefix); found {
				key, value = string(k[len(prefix):]), append([]byte{}, v...)
			}
			return nil
		})
		if err != nil || !found {
			return err
		}
		if more, err := fn(key, value); err != nil || !more {
			return err
		}
	}
}

type writeTx struct {
	readTx
	failed error // the first write that failed; it fails the whole Update
}

// write runs put if its arguments were right, and remembers a failure.
func (t *writeTx) write(err error, put func() error) error {
	if t.done {
		return store.ErrClosed
	}
	if err == nil && t.scanning > 0 {
		err = fmt.Errorf("a write while scanning: %w", store.ErrInvalid)
	}
	if err == nil {
		err = guard(put)
	}
	if err != nil && t.failed == nil {
		t.failed = err
	}
	return err
}

func (t *writeTx) put(bucket, key, value []byte) func() error {
	// bbolt keeps the slices until it commits: the value is copied, the key is ours.
	// Never nil: a nil value reads as missing until it is committed.
	return func() error { return t.tx.Bucket(bucket).Put(key, append([]byte{}, value...)) }
}

func (t *writeTx) PutEntry(index uint64, entry []byte) error {
	next, err := t.Entries()
	if err == nil {
		err = store.CheckEntry(index, next, entry)
	}
	return t.write(err, t.put(bucketEntries, number(index), entry))
}

func (t *writeTx) PutHash(index int64, h tlog.Hash) error {
	var err error
	if index < 0 {
		err = fmt.Errorf("tree hash %d: %w", index, store.ErrInvalid)
	}
	return t.write(err, t.put(bucketHashes, number(uint64(index)), h[:]))
}

func (t *writeTx) PutBlob(sha256 string, packed []byte) error {
	key, err := store.ParseHash(sha256)
	return t.write(err, t.put(bucketBlobs, key[:], packed))
}

func (t *writeTx) PutDocument(kind, key string, value []byte) error {
	return t.write(store.CheckDocument(kind, key), t.put(bucketDocuments, documentKey(kind, key), value))
}

func (t *writeTx) DeleteDocument(kind, key string) error {
	return t.write(store.CheckDocument(kind, key), func() error {
		return t.tx.Bucket(bucketDocuments).Delete(documentKey(kind, key))
	})
}
