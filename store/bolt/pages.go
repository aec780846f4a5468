package bolt

import (
	"encoding/binary"
	"errors"
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
	return guard(func() error { return checkPages(e, t.tx) })
}

// checkPages refuses a tree whose pages are not what leads to them says. bbolt follows a page that
// lies below itself until its stack is full, takes all memory there is for one that says it covers
// more than the file, and reads whatever lies behind a bucket within another's page that says it has
// more elements than it has room for: no process is sure to survive that. Of leaves only the headers are read.
func checkPages(e *Engine, tx *bbolt.Tx) error {
	p := newByPage(e, tx)
	if err := p.below(p.root); err != nil {
		return err
	}
	buckets := p.buckets()
	for name, value := buckets.Seek(nil); name != nil; name, value = buckets.Next() {
		if buckets.flags != bucketFlag {
			return fmt.Errorf("%w: %.20q is no bucket", store.ErrDamaged, name)
		}
		root, inline := bucketAt(value)
		if root == 0 {
			standingOn(inline).checkLeaf()
		} else if err := p.below(root); err != nil {
			return err
		}
	}
	return nil
}

type pageFile struct {
	file  io.ReaderAt
	size  int64  // of a page
	pages uint64 // in the file, as far as it is in use
}

func pagesOf(file io.ReaderAt, tx *bbolt.Tx) pageFile {
	size := int64(tx.DB().Info().PageSize)
	return pageFile{file, size, uint64(tx.Size() / size)}
}

// below goes down a tree level by level. All leaves have one depth.
func (c pageFile) below(root uint64) error {
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
			above[page] = kind == branchPage
		}
		level = next
	}
	return nil
}

// read is the kind of a page, and the numbers of the pages that it leads to; none if it is a leaf.
func (c pageFile) read(page uint64) (kind uint16, below []uint64, err error) {
	h, err := c.header(page)
	if err != nil || h.kind == leafPage {
		return h.kind, nil, err
	}
	elements := make([]byte, elementSize*h.count)
	if _, err := c.file.ReadAt(elements, int64(page)*c.size+headerSize); err != nil {
		return 0, nil, err
	}
	for e := 0; e < len(elements); e += elementSize {
		below = append(below, binary.NativeEndian.Uint64(elements[e+8:]))
	}
	return h.kind, below, nil
}

// pageHeader is what a page of a tree says of itself.
type pageHeader struct {
	kind  uint16
	count int   // of elements
	more  int64 // pages that it covers besides its own
}

// header reads the header of a page of a tree, and believes nothing that cannot be.
func (c pageFile) header(page uint64) (pageHeader, error) {
	var b [headerSize]byte
	return c.start(page, b[:])
}

// start reads the first bytes of a page of a tree, its header among them.
func (c pageFile) start(page uint64, b []byte) (h pageHeader, err error) {
	if page >= c.pages {
		return h, fmt.Errorf("the file has %d", c.pages)
	}
	if _, err := c.file.ReadAt(b, int64(page)*c.size); err != nil {
		return h, err
	}
	h = parseHeader(b)
	switch {
	case binary.NativeEndian.Uint64(b) != page:
		return h, errors.New("it says that it is another")
	case uint64(h.more) >= c.pages-page:
		return h, fmt.Errorf("it covers %d more, the file has %d", h.more, c.pages)
	}
	return h, h.check()
}

func parseHeader(b []byte) pageHeader {
	return pageHeader{binary.NativeEndian.Uint16(b[8:]), int(binary.NativeEndian.Uint16(b[10:])), int64(binary.NativeEndian.Uint32(b[12:]))}
}

func (h pageHeader) check() error {
	if h.kind != leafPage && (h.kind != branchPage || h.count == 0) {
		return errors.New("it is no part of a tree")
	}
	return nil
}
