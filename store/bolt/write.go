package bolt

import (
	"fmt"

	"go.etcd.io/bbolt"
	"golang.org/x/mod/sumdb/tlog"

	"witnessmark/store"
)

type writeTx struct {
	readTx
	failed error      // the first write that failed; it fails the whole Update
	sum    *store.Sum // of the documents, once one was written; kept when the transaction commits
}

// Sum is that of what this transaction wrote.
func (t *writeTx) Sum() (store.Sum, error) {
	if t.sum == nil || t.done {
		return t.readTx.Sum()
	}
	return *t.sum, nil
}

// putSum is written once a transaction, not once a document.
func (t *writeTx) putSum() error {
	if t.sum == nil {
		return nil
	}
	return guard(func() error { return putSum(t.tx, *t.sum) })
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
	return func() error {
		t.wrote += int64(len(value))
		return t.tx.Bucket(bucket).Put(key, append([]byte{}, value...))
	}
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

func (t *writeTx) DeleteBlob(sha256 string) error {
	key, err := store.ParseHash(sha256)
	return t.write(err, func() error { return t.tx.Bucket(bucketBlobs).Delete(key[:]) })
}

func (t *writeTx) PutDocument(kind, key string, value []byte) error {
	sum, err := store.SumWith(t, kind, key, value)
	return t.write(err, func() error {
		t.sum = &sum
		return t.put(bucketDocuments, documentKey(kind, key), value)()
	})
}

func (t *writeTx) DeleteDocument(kind, key string) error {
	sum, err := store.SumWithout(t, kind, key)
	return t.write(err, func() error {
		t.sum = &sum
		return t.tx.Bucket(bucketDocuments).Delete(documentKey(kind, key))
	})
}

func (t *writeTx) DropDocuments() error {
	return t.write(nil, func() error {
		if err := t.tx.DeleteBucket(bucketDocuments); err != nil {
			return err
		}
		_, err := t.tx.CreateBucket(bucketDocuments)
		t.sum = &store.Sum{}
		return err
	})
}

func putSum(tx *bbolt.Tx, sum store.Sum) error { return tx.Bucket(bucketMeta).Put(keySum, sum[:]) }
