package ledger

import (
	"fmt"

	"golang.org/x/mod/sumdb/tlog"
)

// maxProof bounds a proof's elements: two for each level of the largest tree.
const maxProof = 2 * 48

// CheckInclusion verifies that the entry with this leaf hash is at index in the checkpoint's
// tree. Its errors are ErrProof.
func CheckInclusion(proof [][]byte, index uint64, c Checkpoint, leaf tlog.Hash) error {
	if c.Size > maxSize || index >= c.Size {
		return fmt.Errorf("entry %d in a ledger of size %d: %w", index, c.Size, ErrProof)
	}
	hashes, err := fromBytes(proof)
	if err != nil {
		return fmt.Errorf("entry %d in a ledger of size %d: %w", index, c.Size, err)
	}
	if err := tlog.CheckRecord(hashes, int64(c.Size), c.Root, int64(index), leaf); err != nil {
		return fmt.Errorf("entry %d in a ledger of size %d: %w: %w", index, c.Size, ErrProof, err)
	}
	return nil
}

// CheckConsistency verifies that the ledger of checkpoint to extends that of from. Its errors
// are ErrProof; a smaller ledger never extends a larger one, and origins must be equal.
func CheckConsistency(proof [][]byte, from, to Checkpoint) error {
	switch {
	case from.Origin != to.Origin:
		return fmt.Errorf("checkpoints of %q and %q are of two ledgers: %w", from.Origin, to.Origin, ErrProof)
	case to.Size > maxSize:
		return fmt.Errorf("ledger of size %d, at most %d: %w", to.Size, uint64(maxSize), ErrProof)
	case from.Size > to.Size:
		return fmt.Errorf("ledger went back from size %d to %d: %w", from.Size, to.Size, ErrProof)
	}
	hashes, err := fromBytes(proof)
	if err != nil {
		return fmt.Errorf("ledger from size %d to %d: %w", from.Size, to.Size, err)
	}
	if from.Size == 0 || from.Size == to.Size {
		return checkTrivial(hashes, from, to)
	}
	if err := tlog.CheckTree(hashes, int64(to.Size), to.Root, int64(from.Size), from.Root); err != nil {
		return fmt.Errorf("ledger from size %d to %d: %w: %w", from.Size, to.Size, ErrProof, err)
	}
	return nil
}

// checkTrivial is for sizes that need no elements: the empty tree, and a tree with itself.
func checkTrivial(proof []tlog.Hash, from, to Checkpoint) error {
	empty, _ := tlog.TreeHash(0, nil)
	switch {
	case len(proof) != 0:
		return fmt.Errorf("ledger from size %d to %d: %d elements, none are needed: %w", from.Size, to.Size, len(proof), ErrProof)
	case from.Size == to.Size && from.Root != to.Root:
		return fmt.Errorf("two roots of one size %d, %v and %v: %w", to.Size, from.Root, to.Root, ErrProof)
	case from.Size == 0 && from.Root != empty:
		return fmt.Errorf("root %v of an empty ledger, it is %v: %w", from.Root, empty, ErrProof)
	}
	return nil
}

func fromBytes(proof [][]byte) ([]tlog.Hash, error) {
	if len(proof) > maxProof {
		return nil, fmt.Errorf("%d elements, at most %d: %w", len(proof), maxProof, ErrProof)
	}
	out := make([]tlog.Hash, len(proof))
	for i, element := range proof {
		if len(element) != tlog.HashSize {
			return nil, fmt.Errorf("element %d has %d bytes, not %d: %w", i, len(element), tlog.HashSize, ErrProof)
		}
		out[i] = tlog.Hash(element)
	}
	return out, nil
}
