package bolt

import (
	"encoding/binary"
	"fmt"
	"io"

	"go.etcd.io/bbolt"

	"witnessmark/store"
)

// What bbolt writes of a page: a header of its own number (8 bytes), its kind (2), how many
// elements it has (2) and how many pages more it covers (4); behind it a branch has elements of 16
// bytes, of which the last 8 are the number of the page below. Integers are as the machine has them.
const (
	headerSize  = 16
	elementSize = 16
	branchPage  = 1
)

// checkBranches refuses pages that lead back to one above them. bbolt follows such a ring until its
// stack is full, and no process survives that. Only pages that lead to others are read.
func checkBranches(file io.ReaderAt, tx *bbolt.Tx) error {
	if err := checkBelow(file, tx, uint64(tx.Cursor().Bucket().Root())); err != nil {
		return err
	}
	return tx.ForEach(func(_ []byte, bucket *bbolt.Bucket) error {
		if bucket == nil || bucket.Root() == 0 {
			return nil // no bucket, or one that lies within its parent's page
		}
		return checkBelow(file, tx, uint64(bucket.Root()))
	})
}

// checkBelow goes down a tree level by level. All leaves have one depth, so the first page of a
// level tells whether there are more levels.
func checkBelow(file io.ReaderAt, tx *bbolt.Tx, root uint64) error {
	above := map[uint64]bool{}
	for level := []uint64{root}; ; {
		for _, page := range level {
			if above[page] {
				return fmt.Errorf("page %d lies below itself: %w", page, store.ErrDamaged)
			}
		}
		var next []uint64
		for i, page := range level {
			below, err := readBranch(file, int64(page)*int64(tx.DB().Info().PageSize))
			if err != nil {
				return fmt.Errorf("page %d: %w: %w", page, store.ErrDamaged, err)
			}
			if below == nil && i == 0 {
				return nil
			}
			above[page] = true
			next = append(next, below...)
		}
		level = next
	}
}

// readBranch is the numbers of the pages that the page at an offset leads to; none if it is a leaf.
func readBranch(file io.ReaderAt, at int64) (below []uint64, err error) {
	header := make([]byte, headerSize)
	if _, err := file.ReadAt(header, at); err != nil {
		return nil, err
	}
	if binary.NativeEndian.Uint16(header[8:]) != branchPage {
		return nil, nil
	}
	elements := make([]byte, elementSize*int(binary.NativeEndian.Uint16(header[10:])))
	if _, err := file.ReadAt(elements, at+headerSize); err != nil {
		return nil, err
	}
	for e := 0; e < len(elements); e += elementSize {
		below = append(below, binary.NativeEndian.Uint64(elements[e+8:]))
	}
	return below, nil
}
