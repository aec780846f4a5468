// Package ledger is the Merkle tree over entries (RFC 6962 hashing), its proofs, and its
// head as a signed note in the C2SP checkpoint form. Pure: no clock, no storage.
package ledger

import (
	"crypto/ed25519"

	"golang.org/x/mod/sumdb/tlog"
)

// Checkpoint is a verified tree head.
type Checkpoint struct {
	Origin string
	Size   uint64
	Root   tlog.Hash
}

// Origin names the ledger of a genesis: "witnessmark/" and the genesis hash in hex.
func Origin(genesisSHA256 string) string { panic("contract only") }

// LeafHash is SHA-256 of 0x00 and the entry's bytes.
func LeafHash(entry []byte) tlog.Hash { return tlog.RecordHash(entry) }

// SignCheckpoint makes the signed note.
func SignCheckpoint(c Checkpoint, key ed25519.PrivateKey) ([]byte, error) { panic("contract only") }

// OpenCheckpoint verifies the note against the origin and the server's key.
func OpenCheckpoint(note []byte, origin string, key ed25519.PublicKey) (Checkpoint, error) {
	panic("contract only")
}

// Tree is an in-memory tree that grows entry by entry and answers roots and proofs of every size.
type Tree struct{ hashes []tlog.Hash }

func (t *Tree) Size() uint64 { panic("contract only") }
func (t *Tree) Append(entry []byte) (leaf tlog.Hash, stored []tlog.Hash, first int64) {
	panic("contract only")
}
func (t *Tree) Root(size uint64) (tlog.Hash, error)                 { panic("contract only") }
func (t *Tree) ProveInclusion(index, size uint64) ([][]byte, error) { panic("contract only") }
func (t *Tree) ProveConsistency(from, to uint64) ([][]byte, error)  { panic("contract only") }

// CheckInclusion and CheckConsistency verify proofs; an error says why not.
func CheckInclusion(proof [][]byte, index uint64, c Checkpoint, leaf tlog.Hash) error {
	panic("contract only")
}
func CheckConsistency(proof [][]byte, from, to Checkpoint) error { panic("contract only") }
