package ledger

import (
	"fmt"

	"golang.org/x/mod/sumdb/tlog"
)

// Hashes reads a tree's hashes at their stored-hash indexes. Its errors come back from what asked.
type Hashes interface {
	Hash(index int64) (tlog.Hash, error)
}

// Append adds an entry to a tree of the given size. It answers the leaf's hash and the hashes to
// store, of which the first has the stored-hash index first and the others follow.
func Append(h Hashes, size uint64, entry []byte) (leaf tlog.Hash, stored []tlog.Hash, first int64, err error) {
	if size >= maxSize {
		return leaf, nil, 0, fmt.Errorf("entry %d: %w (at most %d entries)", size, ErrSize, uint64(maxSize))
	}
	stored, err = tlog.StoredHashes(int64(size), entry, reader(h))
	if err != nil {
		return leaf, nil, 0, fmt.Errorf("entry %d: %w", size, err)
	}
	return stored[0], stored, tlog.StoredHashIndex(0, int64(size)), nil
}

// Leaf is the hash of the entry at index.
func Leaf(h Hashes, index uint64) (tlog.Hash, error) {
	if index >= maxSize {
		return tlog.Hash{}, fmt.Errorf("leaf %d: %w", index, ErrSize)
	}
	leaf, err := h.Hash(tlog.StoredHashIndex(0, int64(index)))
	if err != nil {
		return tlog.Hash{}, fmt.Errorf("leaf %d: %w", index, err)
	}
	return leaf, nil
}

// Root is the root that the tree has, or had, at a size.
func Root(h Hashes, size uint64) (tlog.Hash, error) {
	if size > maxSize {
		return tlog.Hash{}, fmt.Errorf("root of size %d: %w", size, ErrSize)
	}
	root, err := tlog.TreeHash(int64(size), reader(h))
	if err != nil {
		return tlog.Hash{}, fmt.Errorf("root of size %d: %w", size, err)
	}
	return root, nil
}

// ProveInclusion proves the entry at index in the tree of a size. Each element has 32 bytes.
func ProveInclusion(h Hashes, index, size uint64) ([][]byte, error) {
	if size > maxSize || index >= size {
		return nil, fmt.Errorf("inclusion of entry %d in size %d: %w", index, size, ErrSize)
	}
	// The proof of a last entry holds only what stands before it, so it would not miss the entry.
	if _, err := Leaf(h, index); err != nil {
		return nil, fmt.Errorf("inclusion in size %d: %w", size, err)
	}
	proof, err := tlog.ProveRecord(int64(size), int64(index), reader(h))
	if err != nil {
		return nil, fmt.Errorf("inclusion of entry %d in size %d: %w", index, size, err)
	}
	out := make([][]byte, len(proof))
	for i := range proof {
		out[i] = proof[i][:]
	}
	return out, nil
}

func reader(h Hashes) tlog.HashReader {
	return tlog.HashReaderFunc(func(indexes []int64) ([]tlog.Hash, error) {
		out := make([]tlog.Hash, len(indexes))
		for i, at := range indexes {
			var err error
			if out[i], err = h.Hash(at); err != nil {
				return nil, err
			}
		}
		return out, nil
	})
}
