package bolt_test

import (
	"bytes"
	"crypto/sha256"
	"encoding/binary"
	"errors"
	"fmt"
	"os"
	"runtime"
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

// TestFlippedBits flips single bits of every page of a store, and each bit that leads from one page
// to another: whatever can still be opened and whose sum is right answers as before.
func TestFlippedBits(t *testing.T) {
	r := storetest.Rand(t)
	e, path := create(t)
	var names []string
	err := e.Update(func(tx store.WriteTx) (err error) {
		for i := range 40 {
			// Keys so long that few fit on a page make a tree of three levels.
			key := fmt.Sprintf("%04d%0900d", i, 0)
			names = append(names, key, key+"x")
			err = errors.Join(err, tx.PutDocument("job", key, []byte(key[:4])))
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
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
	for at := 2 * page; at < len(file); at++ {
		leading := leads(file[at/page*page:], at%page)
		for bit := range 8 {
			if !leading && r.IntN(400) > 0 {
				continue
			}
			tried++
			write(at, file[at]^1<<bit)
			got, err := flipped(path, names)
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

// leads is whether a byte belongs to a branch page's header, or to its elements. Their form is in
// internal/common/page.go of bbolt v1.5.0.
func leads(page []byte, at int) bool {
	return page[8]&1 != 0 && at < 16+16*int(binary.LittleEndian.Uint16(page[10:]))
}

func flipped(path string, names []string) (string, error) {
	e, err := bolt.OpenWith(path, bolt.Options{ReadOnly: true})
	if err != nil {
		return "", err
	}
	defer e.Close()
	return documentsBy(e, names)
}
