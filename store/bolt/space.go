package bolt

import (
	"bytes"
	"encoding/binary"
	"fmt"

	"go.etcd.io/bbolt"

	"witnessmark/store"
)

// Where bbolt keeps, in a meta page, the list of free pages, how many pages are in use and the number of the
// commit; and how it says that the list is longer than its header can tell.
const (
	freelistAt = 48
	pagesAt    = 56
	commitAt   = 64
	listPage   = 0x10
	longList   = 0xFFFF
)

// CheckSpace reads all of a store that was opened to be read, and is ErrDamaged where a key or value lies outside
// its page or a key out of order, and where a page is used twice, used and free, or neither: what is written
// next might lie over what is kept.
func (e *Engine) CheckSpace() error {
	if !e.options.ReadOnly {
		return fmt.Errorf("store %s is open for writing: %w", e.path, store.ErrInvalid)
	}
	t, err := e.begin(false)
	if err != nil {
		return err
	}
	defer t.end()
	return guard(func() error {
		p := newByPage(e, t.tx)
		c := spaceCheck{p, make([]string, p.pages)}
		c.claim(0, 2, "a meta page")
		c.tree(p.root, nil, nil, 0)
		c.free(t.tx)
		for page, by := range c.by {
			if by == "" {
				panic(fmt.Sprintf("page %d is neither used nor free", page))
			}
		}
		return nil
	})
}

type spaceCheck struct {
	*byPage
	by []string // who has each page
}

func (c spaceCheck) claim(page, n uint64, by string) {
	for end := page + n; page < end; page++ {
		if c.by[page] != "" {
			panic(fmt.Sprintf("page %d is %s and %s", page, c.by[page], by))
		}
		c.by[page] = by
	}
}

// tree looks at all that lies below a page, whose keys are from one to another, which is not included.
func (c spaceCheck) tree(number uint64, from, to []byte, depth int) {
	page := c.page(number)
	c.claim(number, uint64(len(page))/uint64(c.size), "part of a tree")
	if depth == maxDepth {
		panic("a tree has no end")
	}
	c.inside(page, from, to, depth)
}

func (c spaceCheck) inside(page, from, to []byte, depth int) {
	s := standingOn(page)
	for i := range s.head.count {
		key := s.key(i)
		if bytes.Compare(key, from) < 0 || i > 0 && bytes.Equal(key, from) || to != nil && bytes.Compare(key, to) >= 0 {
			panic("a key is out of order")
		}
		from = key
		switch {
		case s.head.kind == branchPage && i+1 < s.head.count:
			c.tree(s.below(i), key, s.key(i+1), depth+1)
		case s.head.kind == branchPage:
			c.tree(s.below(i), key, to, depth+1)
		case s.flags(i) == bucketFlag:
			if root, inline := bucketAt(s.value(i)); root != 0 {
				c.tree(root, nil, nil, depth+1)
			} else {
				c.inside(inline, nil, nil, depth+1)
			}
		default:
			s.value(i)
		}
	}
}

// free claims the pages that the transaction's commit says are free, and those of the list itself.
func (c spaceCheck) free(tx *bbolt.Tx) {
	meta := make([]byte, 2*c.size)
	c.readAt(meta, 0)
	if binary.NativeEndian.Uint64(meta[commitAt:]) != uint64(tx.ID()) {
		meta = meta[c.size:]
	}
	at := binary.NativeEndian.Uint64(meta[freelistAt:])
	if at >= c.pages {
		panic(fmt.Sprintf("the list of free pages is page %d of %d", at, c.pages))
	}
	header := make([]byte, headerSize)
	c.readAt(header, at)
	h := parseHeader(header)
	if binary.NativeEndian.Uint64(header) != at || h.kind != listPage || uint64(h.more) >= c.pages-at {
		panic(fmt.Sprintf("page %d is no list of free pages", at))
	}
	c.claim(at, uint64(h.more)+1, "the list of free pages")
	list := make([]byte, (h.more+1)*c.size)
	c.readAt(list, at)
	list = list[headerSize:]
	count := uint64(h.count)
	if count == longList {
		count, list = binary.NativeEndian.Uint64(list), list[8:]
	}
	if count > uint64(len(list)/8) {
		panic("the list of free pages is longer than its pages")
	}
	for i := range count {
		page := binary.NativeEndian.Uint64(list[8*i:])
		if page >= c.pages {
			panic(fmt.Sprintf("page %d is free, the file has %d", page, c.pages))
		}
		c.claim(page, 1, "free")
	}
}

func (c spaceCheck) readAt(into []byte, page uint64) {
	if _, err := c.file.ReadAt(into, int64(page)*c.size); err != nil {
		panic(fmt.Sprintf("page %d: %v", page, err))
	}
}
