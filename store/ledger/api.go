// Package ledger is the Merkle tree over entries (RFC 6962 hashing), its proofs, and its
// head as a signed note in the C2SP checkpoint form. Pure: no clock; hashes are read
// through an interface, so that nothing in memory grows with the ledger.
package ledger

import (
	"errors"

	"golang.org/x/mod/sumdb/tlog"
)

// Errors that callers may ask for with errors.Is.
var (
	// ErrCheckpoint is a note that is not this ledger's checkpoint, signed by its key.
	ErrCheckpoint = errors.New("not a checkpoint of this ledger")
	// ErrProof is a proof that does not show what it was given for.
	ErrProof = errors.New("proof does not hold")
	// ErrSize is a size or an index that no tree has.
	ErrSize = errors.New("the ledger has no such size or index")
)

// maxSize bounds what a proof may speak of, far above any ledger and far below where the
// index arithmetic of a 64-bit tree overflows.
const maxSize = 1 << 48

// Checkpoint is a verified tree head.
type Checkpoint struct {
	Origin string
	Size   uint64
	Root   tlog.Hash
}

// Origin names the ledger of a genesis: "witnessmark/" and the genesis hash in hex.
func Origin(genesisSHA256 string) string { return "witnessmark/" + genesisSHA256 }

// LeafHash is SHA-256 of 0x00 and the entry's bytes.
func LeafHash(entry []byte) tlog.Hash { return tlog.RecordHash(entry) }
