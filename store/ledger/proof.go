package ledger

import (
	"fmt"

	"golang.org/x/mod/sumdb/tlog"
)

// maxProof bounds a proof's elements: one for each level of the largest tree.
const maxProof = 48

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
