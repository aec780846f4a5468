package bolt

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"sort"

	"go.etcd.io/bbolt"
)

// What bbolt writes behind a page's header: of each element a branch has where its key lies, seen from
// the element, and how long it is (4 bytes each), then the page below; a leaf has flags, where the key
// lies, and how long key and value are. A bucket's value is its root page's number and a sequence;
// where there is no such page, the bucket's only page lies behind them.
const (
	bucketFlag   = 1
	bucketHeader = 16
	maxDepth     = 32   // levels of a tree: each has at least twice the pages of the one above
	keptPages    = 1024 // in memory, of one transaction
)

// cursor goes through a bucket as bbolt's does: it answers with nothing at the end.
type cursor interface {
	Seek(key []byte) (k, v []byte)
	Next() (k, v []byte)
	Last() (k, v []byte)
}

// byPage reads a store's file page by page, and believes none: whatever is damaged on the way to what
// is asked for is a panic, which guard turns into an error as it does bbolt's own. What is damaged
// elsewhere does no harm.
type byPage struct {
	pageFile
	root uint64 // of the tree of buckets
	kept map[uint64][]byte
}

func newByPage(e *Engine, tx *bbolt.Tx) *byPage {
	return &byPage{pagesOf(e.file, tx), uint64(tx.Cursor().Bucket().Root()), map[uint64][]byte{}}
}

// page is all of a page.
func (p *byPage) page(number uint64) []byte {
	if b, ok := p.kept[number]; ok {
		return b
	}
	b := make([]byte, p.size)
	h, err := p.start(number, b)
	if err == nil && h.more > 0 {
		b = append(b, make([]byte, h.more*p.size)...)
		_, err = p.file.ReadAt(b[p.size:], int64(number+1)*p.size)
	}
	if err != nil {
		panic(fmt.Sprintf("page %d: %v", number, err))
	}
	if len(p.kept) >= keptPages {
		clear(p.kept)
	}
	p.kept[number] = b
	return b
}

// cursor is one of a bucket, or nil where there is no such bucket.
func (p *byPage) cursor(bucket []byte) *pageCursor {
	top := p.buckets()
	value := top.get(bucket)
	if value == nil || top.flags != bucketFlag {
		return nil
	}
	root, inline := bucketAt(value)
	return &pageCursor{p: p, root: func() []byte {
		if root != 0 {
			return p.page(root)
		}
		return inline
	}}
}

// buckets is a cursor of all buckets.
func (p *byPage) buckets() *pageCursor {
	return &pageCursor{p: p, root: func() []byte { return p.page(p.root) }}
}

// bucketAt is the number of a bucket's root page, or its only page, which lies within another.
func bucketAt(value []byte) (root uint64, inline []byte) {
	if len(value) < bucketHeader {
		panic("a bucket without a root")
	}
	if root = binary.NativeEndian.Uint64(value); root == 0 && len(value) < bucketHeader+headerSize {
		panic("a bucket without a page")
	}
	return root, value[bucketHeader:]
}

// pageCursor stands at an element of a leaf; above it are the branches that led there.
type pageCursor struct {
	p     *byPage
	root  func() []byte
	stack []standing
	last  []byte // the key that was answered last
	flags uint32 // of its element
}

type standing struct {
	page []byte
	head pageHeader
	at   int
}

// down goes from a page to a leaf, by the element that choose names of each page.
func (c *pageCursor) down(page []byte, choose func(standing) int) {
	for {
		s := standingOn(page)
		if len(c.stack) == maxDepth {
			panic("a tree has no end")
		}
		s.at = choose(s)
		c.stack = append(c.stack, s)
		if s.head.kind == leafPage {
			return
		}
		page = c.p.page(s.below(s.at))
	}
}

// get is the value of a key, from the leaf that it leads to; nil where it is not there.
func (c *pageCursor) get(key []byte) []byte {
	c.seek(key)
	if leaf := c.stack[len(c.stack)-1]; leaf.at == leaf.head.count || !bytes.Equal(leaf.key(leaf.at), key) {
		return nil
	}
	_, value := c.here()
	return value
}

// Seek goes to the first key that is not below this one.
func (c *pageCursor) Seek(key []byte) (k, v []byte) {
	c.seek(key)
	return c.here()
}

func (c *pageCursor) seek(key []byte) {
	c.stack, c.last = c.stack[:0], nil
	c.down(c.root(), func(s standing) int {
		first := sort.Search(s.head.count, func(i int) bool { return bytes.Compare(s.key(i), key) >= 0 })
		if s.head.kind == branchPage && (first == s.head.count || !bytes.Equal(s.key(first), key)) {
			return max(first-1, 0)
		}
		return first
	})
}

// Next goes to the next key.
func (c *pageCursor) Next() (k, v []byte) {
	c.stack[len(c.stack)-1].at++
	return c.here()
}

// Last goes to the last key.
func (c *pageCursor) Last() (k, v []byte) {
	c.stack, c.last = c.stack[:0], nil
	c.down(c.root(), func(s standing) int { return s.head.count - 1 })
	if c.stack[len(c.stack)-1].head.count == 0 {
		return nil, nil
	}
	return c.here()
}

// here is the element that it stands at, or the first one behind an exhausted leaf.
func (c *pageCursor) here() (k, v []byte) {
	for {
		top := &c.stack[len(c.stack)-1]
		if top.at < top.head.count {
			if top.head.kind == leafPage {
				break
			}
			c.down(c.p.page(top.below(top.at)), func(standing) int { return 0 })
			continue
		}
		if len(c.stack) == 1 {
			return nil, nil
		}
		c.stack = c.stack[:len(c.stack)-1]
		c.stack[len(c.stack)-1].at++
	}
	leaf := c.stack[len(c.stack)-1]
	k, v = leaf.key(leaf.at), leaf.value(leaf.at)
	if c.last != nil && bytes.Compare(k, c.last) <= 0 {
		panic("keys are out of order") // and might go round for ever
	}
	c.last, c.flags = k, leaf.flags(leaf.at)
	return k, v
}

// standingOn is at the start of a page that has room for all its elements.
func standingOn(page []byte) standing {
	s := standing{page: page, head: parseHeader(page)}
	if err := s.head.check(); err != nil || headerSize+elementSize*s.head.count > len(page) {
		panic("a page is no part of a tree")
	}
	return s
}

// checkLeaf falls over an element that the page has no room for.
func (s standing) checkLeaf() {
	if s.head.kind != leafPage {
		panic("a page is no leaf")
	}
	for i := range s.head.count {
		s.value(i)
	}
}

// below is the page that an element of a branch leads to.
func (s standing) below(i int) uint64 { return binary.NativeEndian.Uint64(s.element(i)[8:]) }

// flags are those of an element of a leaf.
func (s standing) flags(i int) uint32 { return binary.NativeEndian.Uint32(s.element(i)) }

// value is the value of an element of a leaf.
func (s standing) value(i int) []byte {
	element := s.element(i)
	v := element[len(s.key(i))+int(binary.NativeEndian.Uint32(element[4:])):]
	size := uint64(binary.NativeEndian.Uint32(element[12:]))
	if size > uint64(len(v)) {
		panic("a value reaches beyond its page")
	}
	return v[:size:size]
}

// element is the rest of the page from an element on.
func (s standing) element(i int) []byte { return s.page[headerSize+elementSize*i:] }

// key is the key of an element.
func (s standing) key(i int) []byte {
	element := s.element(i)
	where := element
	if s.head.kind == leafPage {
		where = element[4:]
	}
	at, size := uint64(binary.NativeEndian.Uint32(where)), uint64(binary.NativeEndian.Uint32(where[4:]))
	if at+size > uint64(len(element)) {
		panic("a key reaches beyond its page")
	}
	return element[at : at+size : at+size]
}
