package bolt

import (
	"encoding/binary"
	"fmt"
	"io"
	"os"

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
	leafPage    = 2
)

// CheckPages looks at the header of every page that the store uses, and is ErrDamaged where one is
// not what leads to it says. It holds a read transaction meanwhile.
func (e *Engine) CheckPages() error {
	t, err := e.begin(false)
	if err != nil {
		return err
	}
	defer t.end()
	file, err := os.Open(e.path)
	if err != nil {
		return fmt.Errorf("store %s: %w", e.path, err)
	}
	defer file.Close()
	return guard(func() error { return checkPages(file, t.tx, true) })
}

// checkPages refuses a tree whose pages are not what leads to them says. bbolt follows a page that
// lies below itself until its stack is full, and takes all memory there is for one that says it
// covers more than the file: no process survives that. Of leaves only the headers are read, if at all.
func checkPages(file io.ReaderAt, tx *bbolt.Tx, leaves bool) error {
	c := pageCheck{file: file, leaves: leaves, size: int64(tx.DB().Info().PageSize)}
	c.pages = uint64(tx.Size() / c.size)
	if err := c.below(uint64(tx.Cursor().Bucket().Root())); err != nil {
		return err
	}
	return tx.ForEach(func(_ []byte, bucket *bbolt.Bucket) error {
		if bucket == nil || bucket.Root() == 0 {
			return nil // no bucket, or one that lies within its parent's page
		}
		return c.below(uint64(bucket.Root()))
	})
}

type pageCheck struct {
	file   io.ReaderAt
	leaves bool // look at them too: they are nearly all there is
	size   int64
	pages  uint64 // in the file, as far as it is in use
}

// below goes down a tree level by level. All leaves have one depth.
func (c *pageCheck) below(root uint64) error {
	above := map[uint64]bool{}
	for level := []uint64{root}; len(level) > 0; {
		var next []uint64
		kind := uint16(0)
		for i, page := range level {
			is, below, err := c.read(page)
			if err == nil && i > 0 && is != kind {
				err = fmt.Errorf("leaves lie at two depths")
			}
			if err == nil && above[page] {
				err = fmt.Errorf("it lies below itself")
			}
			if err != nil {
				return fmt.Errorf("page %d: %w: %w", page, store.ErrDamaged, err)
			}
			kind = is
			next = append(next, below...)
			if kind == branchPage {
				above[page] = true
			} else if !c.leaves {
				return nil // the first page of a level tells what the level is
			}
		}
		level = next
	}
	return nil
}

// read is the kind of a page, and the numbers of the pages that it leads to; none if it is a leaf.
func (c *pageCheck) read(page uint64) (kind uint16, below []uint64, err error) {
	if page >= c.pages {
		return 0, nil, fmt.Errorf("the file has %d", c.pages)
	}
	var header [headerSize]byte
	at := int64(page) * c.size
	if _, err := c.file.ReadAt(header[:], at); err != nil {
		return 0, nil, err
	}
	kind = binary.NativeEndian.Uint16(header[8:])
	count, more := binary.NativeEndian.Uint16(header[10:]), binary.NativeEndian.Uint32(header[12:])
	switch {
	case binary.NativeEndian.Uint64(header[:]) != page:
		return 0, nil, fmt.Errorf("it says that it is another")
	case uint64(more) >= c.pages-page:
		return 0, nil, fmt.Errorf("it covers %d more, the file has %d", more, c.pages)
	case kind == leafPage:
		return kind, nil, nil
	case kind != branchPage || count == 0:
		return 0, nil, fmt.Errorf("it is no part of a tree")
	}
	elements := make([]byte, elementSize*int(count))
	if _, err := c.file.ReadAt(elements, at+headerSize); err != nil {
		return 0, nil, err
	}
	for e := 0; e < len(elements); e += elementSize {
		below = append(below, binary.NativeEndian.Uint64(elements[e+8:]))
	}
	return kind, below, nil
}
