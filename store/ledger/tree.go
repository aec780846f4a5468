package ledger

import (
	"fmt"

	"golang.org/x/mod/sumdb/tlog"
)

// Tree is an in-memory tree that grows entry by entry and answers roots and proofs of every
// size up to its own. The zero Tree is empty. It is not safe for concurrent use.
type Tree struct {
	size   uint64
	hashes []tlog.Hash // at their stored-hash index
}

// LoadTree reads a tree of the given size from its stored hashes, as Append gave them out.
func LoadTree(read func(index int64) (tlog.Hash, error), size uint64) (*Tree, error) {
	if size > maxSize {
		return nil, fmt.Errorf("load tree: size %d: %w", size, ErrSize)
	}
	t := &Tree{size: size}
	count := tlog.StoredHashCount(int64(size))
	for i := int64(0); i < count; i++ {
		h, err := read(i)
		if err != nil {
			return nil, fmt.Errorf("load tree: hash %d of %d: %w", i, count, err)
		}
		t.hashes = append(t.hashes, h)
	}
	return t, nil
}

// Size is the number of entries.
func (t *Tree) Size() uint64 { return t.size }

// Clone is a tree that grows on its own: a committer appends to it and keeps it only once the
// entries are on disk.
func (t *Tree) Clone() *Tree {
	// The capacity is cut so that an append to either copies, and neither writes into the other.
	return &Tree{size: t.size, hashes: t.hashes[:len(t.hashes):len(t.hashes)]}
}

// Append adds an entry. It answers the leaf's hash and the hashes to store, of which the first
// has the stored-hash index first and the others follow.
func (t *Tree) Append(entry []byte) (leaf tlog.Hash, stored []tlog.Hash, first int64) {
	leaf = tlog.RecordHash(entry)
	first = int64(len(t.hashes))
	stored = append(stored, leaf)
	// An odd size ends in complete subtrees; each one joins the new leaf's.
	for level := 0; t.size>>level&1 == 1; level++ {
		left := t.hashes[tlog.StoredHashIndex(level, int64(t.size>>level)-1)]
		stored = append(stored, tlog.NodeHash(left, stored[level]))
	}
	t.hashes = append(t.hashes, stored...)
	t.size++
	return leaf, stored, first
}

// Leaf is the hash of the entry at index, or ErrSize.
func (t *Tree) Leaf(index uint64) (tlog.Hash, error) {
	if index >= t.size {
		return tlog.Hash{}, fmt.Errorf("leaf %d of %d: %w", index, t.size, ErrSize)
	}
	return t.hashes[tlog.StoredHashIndex(0, int64(index))], nil
}

// Root is the root that the tree had at a size, or ErrSize.
func (t *Tree) Root(size uint64) (tlog.Hash, error) {
	if size > t.size {
		return tlog.Hash{}, fmt.Errorf("root of size %d, the ledger has %d: %w", size, t.size, ErrSize)
	}
	return tlog.TreeHash(int64(size), t.reader())
}

// ProveInclusion proves the entry at index in the tree of a size, or is ErrSize. Each element has 32 bytes.
func (t *Tree) ProveInclusion(index, size uint64) ([][]byte, error) {
	if size > t.size || index >= size {
		return nil, fmt.Errorf("inclusion of entry %d in size %d, the ledger has %d: %w", index, size, t.size, ErrSize)
	}
	proof, err := tlog.ProveRecord(int64(size), int64(index), t.reader())
	if err != nil {
		return nil, fmt.Errorf("inclusion of entry %d in size %d: %w", index, size, err)
	}
	return toBytes(proof), nil
}

// ProveConsistency proves that the tree of size to extends the tree of size from, or is ErrSize.
// The empty tree, and a tree with itself, need no elements.
func (t *Tree) ProveConsistency(from, to uint64) ([][]byte, error) {
	if from > to || to > t.size {
		return nil, fmt.Errorf("consistency of size %d with %d, the ledger has %d: %w", from, to, t.size, ErrSize)
	}
	if from == 0 || from == to {
		return nil, nil
	}
	proof, err := tlog.ProveTree(int64(to), int64(from), t.reader())
	if err != nil {
		return nil, fmt.Errorf("consistency of size %d with %d: %w", from, to, err)
	}
	return toBytes(proof), nil
}

func (t *Tree) reader() tlog.HashReader {
	return tlog.HashReaderFunc(func(indexes []int64) ([]tlog.Hash, error) {
		out := make([]tlog.Hash, len(indexes))
		for i, at := range indexes {
			if at < 0 || at >= int64(len(t.hashes)) {
				return nil, fmt.Errorf("stored hash %d of %d: %w", at, len(t.hashes), ErrSize)
			}
			out[i] = t.hashes[at]
		}
		return out, nil
	})
}

func toBytes(proof []tlog.Hash) [][]byte {
	out := make([][]byte, len(proof))
	for i := range proof {
		out[i] = append([]byte(nil), proof[i][:]...)
	}
	return out
}
