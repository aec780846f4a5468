package bolt_test

import (
	"bytes"
	"crypto/sha256"
	"encoding/binary"
	"errors"
	"fmt"
	"os"
	"runtime"
	"slices"
	"strings"
	"testing"

	"witnessmark/store"
	"witnessmark/store/bolt"
	"witnessmark/store/storetest"
)

// documentsBy reads all documents, by a scan and by name, and asks for some that are not there.
func documentsBy(e store.Engine, names []string) (string, error) {
	out := sha256.New()
	err := e.View(func(tx store.ReadTx) error {
		if err := store.CheckSum(tx); err != nil {
			return err
		}
		for _, key := range names {
			value, err := tx.Document("job", key)
			if err != nil && !errors.Is(err, store.ErrNotFound) {
				return err
			}
			fmt.Fprintf(out, "%v %s\n", err, value)
			err = tx.Scan("job", key, func(key string, value []byte) (bool, error) {
				fmt.Fprintf(out, "%s %s\n", key, value)
				return false, nil
			})
			if err != nil {
				return err
			}
		}
		return nil
	})
	return string(out.Sum(nil)), err
}

// threeLevels is a store whose documents are a tree of three levels, and names of some that are there
// and some that are not.
func threeLevels(t *testing.T) (e *bolt.Engine, path string, names []string) {
	t.Helper()
	e, path = create(t)
	err := e.Update(func(tx store.WriteTx) (err error) {
		for i := range 40 {
			key := fmt.Sprintf("%04d%0900d", i, 0) // so long that few fit on a page
			names = append(names, key, key+"x")
			err = errors.Join(err, tx.PutDocument("job", key, []byte(key[:4])))
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return e, path, names
}

// ways are how a store is opened to look at it: with all pages checked before, or each as it goes.
var ways = map[string]bolt.Options{"checked": {ReadOnly: true}, "by page": {ByPage: true}}

// TestFlippedBits flips single bits of every page of a store, and each bit that leads from one page
// to another or says what a page is: whatever can still be opened and whose sum is right answers as before.
func TestFlippedBits(t *testing.T) {
	for name, way := range ways {
		t.Run(name, func(t *testing.T) { testFlippedBits(t, way) })
	}
}

func testFlippedBits(t *testing.T, way bolt.Options) {
	r := storetest.Rand(t)
	e, path, names := threeLevels(t)
	put(t, e, "entry 0")
	if err := e.Compact(); err != nil { // no page is free, nearly
		t.Fatal(err)
	}
	want, err := documentsBy(e, names)
	if err := errors.Join(err, e.Close()); err != nil {
		t.Fatal(err)
	}
	file := readUsed(t, path)
	page := os.Getpagesize()
	f, err := os.OpenFile(path, os.O_RDWR, 0)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	write := func(at int, b byte) {
		if _, err := f.WriteAt([]byte{b}, int64(at)); err != nil {
			t.Fatal(err)
		}
	}
	tried, refused := 0, 0
	defer func() { t.Logf("%d bits flipped, %d noticed; the others made no difference", tried, refused) }()
	for at := 2 * page; at < len(file); at++ {
		leading := leads(file[at/page*page:], at%page)
		for bit := range 8 {
			if !leading && r.IntN(400) > 0 {
				continue
			}
			tried++
			write(at, file[at]^1<<bit)
			got, err := flipped(path, way, names)
			if err != nil {
				refused++
				if !errors.Is(err, store.ErrDamaged) && !errors.Is(err, bolt.ErrLayout) {
					t.Errorf("byte %d of page %d, bit %d: %v", at%page, at/page, bit, err)
				}
			} else if got != want {
				t.Errorf("byte %d of page %d, bit %d: other answers, and a sum that is right", at%page, at/page, bit)
			}
			write(at, file[at])
		}
	}
	if refused < tried/10 {
		t.Errorf("%d of %d refused: the test damages nothing", refused, tried)
	}
}

// TestTreeOfBuckets flips each bit of the page that holds all buckets, and the small ones themselves. bbolt
// copies one that a flipped bit moved off its alignment, and then reads on behind the copy: the race detector's build ends there.
func TestTreeOfBuckets(t *testing.T) {
	e, path, names := threeLevels(t)
	put(t, e, "entry 0")
	if err := e.Compact(); err != nil {
		t.Fatal(err)
	}
	want, err := documentsBy(e, names)
	if err := errors.Join(err, e.Close()); err != nil {
		t.Fatal(err)
	}
	f, err := os.OpenFile(path, os.O_RDWR, 0)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	file, page := readFile(t, path), os.Getpagesize()
	root := int(binary.LittleEndian.Uint64(file[newestMeta(file)+32:])) * page
	used := bytes.LastIndexFunc(file[root:root+page], func(r rune) bool { return r != 0 }) + 1
	for at := root; at < root+used; at++ {
		for bit := range 8 {
			if _, err := f.WriteAt([]byte{file[at] ^ 1<<bit}, int64(at)); err != nil {
				t.Fatal(err)
			}
			if got, err := flipped(path, ways["checked"], names); err == nil && got != want {
				t.Errorf("byte %d, bit %d: other answers, and a sum that is right", at-root, bit)
			} else if err != nil && !errors.Is(err, store.ErrDamaged) && !errors.Is(err, bolt.ErrLayout) {
				t.Errorf("byte %d, bit %d: %v", at-root, bit, err)
			}
		}
		if _, err := f.WriteAt(file[at:at+1], int64(at)); err != nil {
			t.Fatal(err)
		}
	}
}

// TestLengthBeyondTheFile: a value that says it is gigabytes long takes no such memory.
func TestLengthBeyondTheFile(t *testing.T) {
	e, path := create(t)
	put(t, e, strings.Repeat("x", 3021))
	if err := e.Close(); err != nil {
		t.Fatal(err)
	}
	file := readFile(t, path)
	at := bytes.LastIndex(file, binary.LittleEndian.AppendUint32(nil, 3021))
	if at < 0 {
		t.Fatal("the entry's length is nowhere")
	}
	file[at+3] ^= 0x40
	var before, after runtime.MemStats
	runtime.ReadMemStats(&before)
	if _, err := reopen(t, file); !errors.Is(err, store.ErrDamaged) {
		t.Errorf("read: %v", err)
	}
	runtime.ReadMemStats(&after)
	if took := after.TotalAlloc - before.TotalAlloc; took > 64<<20 {
		t.Errorf("it took %d bytes", took)
	}
}

// leads is whether a byte belongs to a page's header, or to a branch page's elements. Their form is in
// internal/common/page.go of bbolt v1.5.0.
func leads(page []byte, at int) bool {
	return at < 16 || page[8]&1 != 0 && at < 16+16*int(binary.LittleEndian.Uint16(page[10:]))
}

// TestPageOfAnotherKind gives each page every other kind, and has the elements of what then is a branch lead
// to every page there is, above it too: bbolt alone would follow some until its stack is full.
func TestPageOfAnotherKind(t *testing.T) {
	e, path, names := threeLevels(t)
	if err := e.Compact(); err != nil { // what an older commit left would be a whole store by itself
		t.Fatal(err)
	}
	want, err := documentsBy(e, names)
	if err := errors.Join(err, e.Close()); err != nil {
		t.Fatal(err)
	}
	file, page := readUsed(t, path), os.Getpagesize()
	tried, refused := 0, 0
	attempt := func(at int, bad []byte) {
		for name, way := range ways {
			tried++
			if err := os.WriteFile(path, bad, 0o600); err != nil {
				t.Fatal(err)
			}
			got, err := flipped(path, way, names)
			if err != nil {
				refused++
			} else if got != want {
				t.Errorf("page %d, %s: other answers, and a sum that is right", at/page, name)
			}
		}
	}
	for at := 2 * page; at < len(file); at += page {
		for _, kind := range []byte{0, 1, 2, 3, 4, 0x10} {
			bad := bytes.Clone(file)
			if bad[at+8] == kind {
				continue
			}
			bad[at+8] = kind
			attempt(at, bad)
			for to := 2; kind == 1 && to < len(file)/page; to++ {
				for i := range int(binary.LittleEndian.Uint16(bad[at+10:])) {
					binary.LittleEndian.PutUint64(bad[at+16+16*i+8:], uint64(to))
				}
				attempt(at, bad)
			}
		}
	}
	t.Logf("%d tried, %d noticed; the others lead to no document", tried, refused)
	if refused < tried/2 {
		t.Error("the test damages nothing")
	}
}

// TestUsedPageThatIsFree: what is read is right, and the next commit may lie over it.
func TestUsedPageThatIsFree(t *testing.T) {
	e, path, _ := threeLevels(t)
	put(t, e, "entry 0")
	if err := e.CheckSpace(); !errors.Is(err, store.ErrInvalid) {
		t.Errorf("while it is written to: %v", err)
	}
	if err := e.Close(); err != nil {
		t.Fatal(err)
	}
	file, page := readFile(t, path), os.Getpagesize()
	meta := newestMeta(file)
	root, free := binary.LittleEndian.Uint64(file[meta+32:]), int(binary.LittleEndian.Uint64(file[meta+48:]))*page
	was := binary.LittleEndian.Uint64(file[free+16:])
	for _, c := range []struct {
		page uint64
		want error
	}{{was, nil}, {root, store.ErrDamaged}, {2, store.ErrDamaged}} {
		if c.page == 2 && was == 2 {
			c.page = uint64(len(file)) // far beyond
		}
		binary.LittleEndian.PutUint64(file[free+16:], c.page)
		if err := os.WriteFile(path, file, 0o600); err != nil {
			t.Fatal(err)
		}
		look, err := bolt.OpenReadOnly(path)
		if err != nil {
			t.Fatal(err)
		}
		if err := look.View(store.CheckSum); err != nil {
			t.Errorf("page %d: what is read: %v", c.page, err)
		}
		if err := look.CheckSpace(); !errors.Is(err, c.want) || err == nil && c.want != nil {
			t.Errorf("page %d is free: %v, want %v", c.page, err, c.want)
		}
		look.Close()
	}
}

// TestByPage: what is read page by page is what bbolt reads, of buckets on many pages, on one, within
// another's page and empty.
func TestByPage(t *testing.T) {
	r := storetest.Rand(t)
	e, path, names := threeLevels(t)
	for round := range 4 {
		err := e.Update(func(tx store.WriteTx) (err error) {
			for range round * 60 {
				key := strings.Repeat(string(rune('a'+r.IntN(26))), r.IntN(1500))
				names = append(names, key)
				err = errors.Join(err, tx.PutDocument("job", key, make([]byte, r.IntN(3*os.Getpagesize()))))
			}
			return err
		})
		if err != nil {
			t.Fatal(err)
		}
		put(t, e, fmt.Sprint("entry ", round))
		want, err := documentsBy(e, names)
		was := entries(t, e)
		if err := errors.Join(err, e.Close()); err != nil {
			t.Fatal(err)
		}
		if got, err := flipped(path, ways["by page"], names); got != want || err != nil {
			t.Errorf("round %d: other documents, %v", round, err)
		}
		looking, err := bolt.OpenWith(path, ways["by page"])
		if err != nil {
			t.Fatal(err)
		}
		if got := entries(t, looking); !slices.Equal(got, was) {
			t.Errorf("round %d: entries %q, want %q", round, got, was)
		}
		if err := looking.Close(); err != nil {
			t.Fatal(err)
		}
		e = open(t, path)
	}
}

func flipped(path string, way bolt.Options, names []string) (string, error) {
	e, err := bolt.OpenWith(path, way)
	if err != nil {
		return "", err
	}
	defer e.Close()
	return documentsBy(e, names)
}
