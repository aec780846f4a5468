// Package store is what is kept: the engine contract that every embedded or remote
// database fulfils, and the packing of images that stands on it.
package store

import (
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"strings"

	"golang.org/x/mod/sumdb/tlog"
)

// Errors of every engine.
var (
	ErrNotFound = errors.New("not found")
	ErrClosed   = errors.New("store is closed")
	// ErrBroken follows a failed commit: nothing is written until the store was reopened, and
	// nothing is read, since that might show what never became durable.
	ErrBroken = errors.New("store must be reopened after a failed write")
	// ErrInvalid is an argument that no engine takes: an entry that is not the next one, a name
	// that is no hash, a write while scanning.
	ErrInvalid = errors.New("the store does not take it")
	// ErrDamaged is stored bytes that are not what was once written.
	ErrDamaged = errors.New("store is damaged")
	// ErrAway is an engine elsewhere that cannot be reached, or that takes nothing just now: nothing
	// was changed, and the engine goes on by itself when it is back.
	ErrAway = errors.New("the database cannot be reached")
	// ErrUncertain is an Update of which nobody knows whether it is there; asking by request id tells.
	ErrUncertain = errors.New("it may have been written or not")
)

// Engine keeps entries, tree hashes, blobs and documents, and nothing else. Its methods may be
// called from several goroutines; a transaction may not, and is dead once its fn has returned.
// fn must not call the engine.
type Engine interface {
	// View runs fn on a consistent state. What fn gets must not be kept after it returns.
	View(fn func(ReadTx) error) error
	// Update runs fn and commits durably, or changes nothing: after an error or a panic of fn, and
	// after a failed write even if fn hides it. fn may run again.
	Update(fn func(WriteTx) error) error
	// Snapshot writes a consistent copy that Open accepts and that holds nothing deleted.
	Snapshot(w io.Writer) error
	// Compact has the engine's own files hold nothing deleted either; transactions wait meanwhile.
	Compact() error
	// Close waits for transactions under way; everything after it is ErrClosed, another Close is not.
	Close() error
}

// ReadTx reads. Answers are copies. Whatever calls fn goes upwards by bytes, until fn wants no more.
type ReadTx interface {
	Entries() (uint64, error)
	Entry(index uint64) ([]byte, error)        // ErrNotFound
	Hash(index int64) (tlog.Hash, error)       // stored-hash index of tlog; ErrNotFound
	Blob(sha256 string) ([]byte, error)        // as packed; ErrNotFound
	Document(kind, key string) ([]byte, error) // ErrNotFound
	Sum() (Sum, error)                         // as kept beside the documents

	Blobs(fn func(sha256 string, packed []byte) (more bool, err error)) error
	Scan(kind, from string, fn func(key string, value []byte) (more bool, err error)) error // from included
	Documents(fn func(kind, key string, value []byte) (more bool, err error)) error         // of all kinds
}

// WriteTx writes, and reads what it wrote. PutEntry must be the next index. Deleting what is not
// there is no error. Nothing may be written while fn of a scan runs.
type WriteTx interface {
	ReadTx
	PutEntry(index uint64, entry []byte) error
	PutHash(index int64, h tlog.Hash) error
	PutBlob(sha256 string, packed []byte) error
	DeleteBlob(sha256 string) error
	PutDocument(kind, key string, value []byte) error
	DeleteDocument(kind, key string) error
	DropDocuments() error // all of them, and the sum
}

// MaxKey bounds a document's kind and key together, in bytes: what fits into a page of every engine's index.
const MaxKey = 2048

// CheckDocument is ErrInvalid for a kind or key that no engine takes: a kind is not empty and
// holds no NUL byte; a key is any text, also the empty one.
func CheckDocument(kind, key string) error {
	switch {
	case kind == "" || strings.IndexByte(kind, 0) >= 0:
		return fmt.Errorf("document kind %q, it must not be empty or hold a NUL: %w", kind, ErrInvalid)
	case len(kind)+len(key) > MaxKey:
		return fmt.Errorf("document kind and key of %d bytes, at most %d are allowed: %w", len(kind)+len(key), MaxKey, ErrInvalid)
	}
	return nil
}

// CheckEntry is ErrInvalid for an entry that is not the next one, or empty.
func CheckEntry(index, next uint64, entry []byte) error {
	if index != next {
		return fmt.Errorf("entry %d, the next one is %d: %w", index, next, ErrInvalid)
	}
	if len(entry) == 0 {
		return fmt.Errorf("entry %d is empty: %w", index, ErrInvalid)
	}
	return nil
}

// ParseHash reads the name of a blob, 64 lower-case hex digits, or is ErrInvalid.
func ParseHash(sha256 string) ([32]byte, error) {
	raw, err := hex.DecodeString(sha256)
	if err != nil || len(raw) != 32 || hex.EncodeToString(raw) != sha256 {
		return [32]byte{}, fmt.Errorf("blob %.80q, 64 lower-case hex digits are allowed: %w", sha256, ErrInvalid)
	}
	return [32]byte(raw), nil
}
