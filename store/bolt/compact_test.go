package bolt_test

import (
	"bytes"
	"encoding/hex"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"witnessmark/store"
	"witnessmark/store/bolt"
	"witnessmark/store/storetest"
)

// TestErasedIsGone searches the bytes of the store's file, and of a copy of it, for what was
// deleted: found before, also after the deleting alone, and not found once it was compacted.
func TestErasedIsGone(t *testing.T) {
	r := storetest.Rand(t)
	marker := func(n int) []byte {
		out := make([]byte, n)
		for i := range out {
			out[i] = byte('A' + r.IntN(26))
		}
		return out
	}
	// The value and the blob span pages; the neighbours leave room at pages' ends.
	value, key, small, blob := marker(9000), string(marker(40)), marker(30), marker(30_000)
	sha := hex.EncodeToString(bytes.Repeat([]byte{0xAB}, 32))
	marks := map[string][]byte{"value": value[4200:4260], "key": []byte(key), "small value": small, "blob": blob[12_300:12_360], "blob's name": bytes.Repeat([]byte{0xAB}, 32)}
	e, path := create(t)
	others := func(round int) {
		err := e.Update(func(tx store.WriteTx) (err error) {
			for i := range 60 {
				err = errors.Join(err, tx.PutDocument("job", fmt.Sprint(round, " ", i), bytes.Repeat([]byte("x"), 50+i*7)))
			}
			return err
		})
		if err != nil {
			t.Fatal(err)
		}
		put(t, e, fmt.Sprint("entry ", round))
	}
	others(0)
	err := e.Update(func(tx store.WriteTx) error {
		return errors.Join(tx.PutDocument("opening", "7", value), tx.PutDocument("opening", key, nil), tx.PutDocument("opening", "8", small), tx.PutBlob(sha, blob))
	})
	if err != nil {
		t.Fatal(err)
	}
	others(1)
	search := func(when string, file []byte, want bool) {
		t.Helper()
		for what, mark := range marks {
			if bytes.Contains(file, mark) != want {
				t.Errorf("%s: the %s is found: %v", when, what, !want)
			}
		}
	}
	search("written", readFile(t, path), true)
	err = e.Update(func(tx store.WriteTx) error {
		return errors.Join(tx.DeleteDocument("opening", "7"), tx.DeleteDocument("opening", key), tx.DeleteDocument("opening", "8"), tx.DeleteBlob(sha))
	})
	if err != nil {
		t.Fatal(err)
	}
	search("deleted", readFile(t, path), true)
	search("copied", snapshot(t, e), false)
	if err := e.Compact(); err != nil {
		t.Fatal(err)
	}
	search("compacted", readFile(t, path), false)
	search("compacted and copied", snapshot(t, e), false)
	others(2)
	search("written to again", readFile(t, path), false)
	if got := entries(t, e); len(got) != 3 {
		t.Errorf("entries %q", got)
	}
	if names, err := os.ReadDir(filepath.Dir(path)); err != nil || len(names) != 2 {
		t.Errorf("beside the store and its holder's name lie %v, %v", names, err)
	}
}

func snapshot(t *testing.T, e store.Engine) []byte {
	t.Helper()
	var out bytes.Buffer
	if err := e.Snapshot(&out); err != nil {
		t.Fatal(err)
	}
	return out.Bytes()
}

// TestSnapshotHasNoRoom: a copy of a small store is small, whatever its file has room for.
func TestSnapshotHasNoRoom(t *testing.T) {
	e, _ := create(t)
	put(t, e, "entry 0")
	if got := len(snapshot(t, e)); got > 20*os.Getpagesize() {
		t.Errorf("%d bytes", got)
	}
}

// TestWaitingForTheOldFile: whoever waits for a store while it is compacted gets the new file.
func TestWaitingForTheOldFile(t *testing.T) {
	e, path := create(t)
	type opened struct {
		e   *bolt.Engine
		err error
	}
	waiting := make(chan opened, 1)
	go func() {
		e, err := bolt.OpenWith(path, bolt.Options{Wait: 30 * time.Second})
		waiting <- opened{e, err}
	}()
	time.Sleep(100 * time.Millisecond) // enough for it to wait; if it is late, it opens the new file at once
	if err := e.Compact(); err != nil {
		t.Fatal(err)
	}
	put(t, e, "after compacting")
	if err := e.Close(); err != nil {
		t.Fatal(err)
	}
	got := <-waiting
	if got.err != nil {
		t.Fatal(got.err)
	}
	defer got.e.Close()
	if got := entries(t, got.e); len(got) != 1 {
		t.Errorf("entries %q", got)
	}
}

func TestLeftoversAreRemoved(t *testing.T) {
	e, path := create(t)
	put(t, e, "kept")
	if err := e.Close(); err != nil {
		t.Fatal(err)
	}
	folder := filepath.Dir(path)
	for _, name := range []string{".compact-ledger.db-1", ".snapshot-ledger.db-22", ".compact-other.db-1"} {
		if err := os.WriteFile(filepath.Join(folder, name), []byte("half"), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	for _, c := range []struct {
		o    bolt.Options
		left int
	}{{bolt.Options{ReadOnly: true}, 4}, {bolt.Options{}, 2}} {
		e, err := bolt.OpenWith(path, c.o)
		if err != nil {
			t.Fatal(err)
		}
		if err := e.Close(); err != nil {
			t.Fatal(err)
		}
		if names, err := os.ReadDir(folder); err != nil || len(names) != c.left {
			t.Errorf("opened with %+v there lie %v, %v", c.o, names, err)
		}
	}
}

func TestReadOnlyIsNotCompacted(t *testing.T) {
	e, path := create(t)
	if err := e.Close(); err != nil {
		t.Fatal(err)
	}
	again, err := bolt.OpenReadOnly(path)
	if err != nil {
		t.Fatal(err)
	}
	defer again.Close()
	if err := again.Compact(); !errors.Is(err, store.ErrInvalid) {
		t.Errorf("compact: %v", err)
	}
}

// TestStep: however much is mapped, the file takes little more than what is in it, also once it was compacted.
func TestStep(t *testing.T) {
	const step = 32 << 10
	path := filepath.Join(t.TempDir(), "ledger.db")
	e, err := bolt.CreateWith(path, bolt.Options{MapSize: 256 << 20, Step: step})
	if err != nil {
		t.Fatal(err)
	}
	defer e.Close()
	for what, do := range []func() error{
		func() error { return appendEntry(e, strings.Repeat("x", 4*step)) }, e.Compact, func() error { return appendEntry(e, "y") },
	} {
		if err := do(); err != nil {
			t.Fatal(err)
		}
		if info, err := os.Stat(path); err != nil || info.Size() > 16*step {
			t.Errorf("%d: %d bytes, %v", what, info.Size(), err)
		}
	}
}

// BenchmarkStep opens a small store, looks at it, and lets it go, as a command does.
func BenchmarkStep(b *testing.B) {
	path := filepath.Join(b.TempDir(), "ledger.db")
	e, err := bolt.Create(path)
	if err != nil {
		b.Fatal(err)
	}
	if err := errors.Join(appendEntry(e, "entry 0"), e.Close()); err != nil {
		b.Fatal(err)
	}
	for what, o := range map[string]bolt.Options{"ReadOnly": {ReadOnly: true}, "Writable": {}, "Mapped": {MapSize: 8 << 30}} {
		b.Run(what, func(b *testing.B) {
			for b.Loop() {
				e, err := bolt.OpenWith(path, o)
				if err != nil {
					b.Fatal(err)
				}
				if _, err := readEntries(e); err != nil {
					b.Fatal(err)
				}
				if err := e.Close(); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}

// BenchmarkCheckSum says what one document costs before a yes.
func BenchmarkCheckSum(b *testing.B) {
	e, err := bolt.Create(filepath.Join(b.TempDir(), "ledger.db"))
	if err != nil {
		b.Fatal(err)
	}
	defer e.Close()
	const documents = 20_000
	err = e.Update(func(tx store.WriteTx) (err error) {
		for i := range documents {
			err = errors.Join(err, tx.PutDocument("job", fmt.Sprintf("%08d", i), bytes.Repeat([]byte("x"), 300)))
		}
		return err
	})
	if err != nil {
		b.Fatal(err)
	}
	for b.Loop() {
		if err := e.View(store.CheckSum); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/documents, "ns/document")
}

// TestLookingAfterCompacting: what looks at pages looks at the file that took the other's place.
func TestLookingAfterCompacting(t *testing.T) {
	e, path := create(t)
	for round := range 3 {
		put(t, e, fmt.Sprint("entry ", round))
		if err := e.Compact(); err != nil {
			t.Fatal(err)
		}
		if err := e.CheckPages(); err != nil {
			t.Errorf("round %d: %v", round, err)
		}
	}
	put(t, e, "one more")
	if err := errors.Join(e.CheckPages(), e.Close()); err != nil {
		t.Error(err)
	}
	look, err := bolt.OpenReadOnly(path)
	if err != nil {
		t.Fatal(err)
	}
	if err := errors.Join(look.CheckSpace(), look.Close()); err != nil {
		t.Error(err)
	}
}
