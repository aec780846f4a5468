// Package store is what is kept: the engine contract that every embedded or remote
// database fulfils, and the packing of images that stands on it.
package store

import (
	"errors"
	"io"

	"golang.org/x/mod/sumdb/tlog"
)

// Errors of every engine.
var (
	ErrNotFound = errors.New("not found")
	ErrClosed   = errors.New("store is closed")
	// ErrBroken follows a failed sync: nothing is written until the store was reopened.
	ErrBroken = errors.New("store must be reopened after a failed write")
)

// Engine keeps entries, tree hashes, blobs and documents, and nothing else.
type Engine interface {
	// View runs fn on a consistent state. What fn gets must not be kept after it returns.
	View(fn func(ReadTx) error) error
	// Update runs fn and commits durably, or changes nothing. fn may run again.
	Update(fn func(WriteTx) error) error
	// Snapshot writes a consistent copy that Open accepts.
	Snapshot(w io.Writer) error
	Close() error
}

// ReadTx reads. Answers are copies.
type ReadTx interface {
	Entries() (uint64, error)
	Entry(index uint64) ([]byte, error)                                                     // ErrNotFound
	Hash(index int64) (tlog.Hash, error)                                                    // stored-hash index of tlog
	Blob(sha256 string) ([]byte, error)                                                     // as packed; ErrNotFound
	Document(kind, key string) ([]byte, error)                                              // ErrNotFound
	Scan(kind, from string, fn func(key string, value []byte) (more bool, err error)) error // ascending
}

// WriteTx writes. PutEntry must be the next index.
type WriteTx interface {
	ReadTx
	PutEntry(index uint64, entry []byte) error
	PutHash(index int64, h tlog.Hash) error
	PutBlob(sha256 string, packed []byte) error
	PutDocument(kind, key string, value []byte) error
	DeleteDocument(kind, key string) error
}
