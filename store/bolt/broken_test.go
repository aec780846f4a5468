package bolt

import (
	"errors"
	"io"
	"os"
	"path/filepath"
	"testing"
	"time"

	"go.etcd.io/bbolt"
	"golang.org/x/mod/sumdb/tlog"

	"witnessmark/store"
)

func document(key string) func(store.WriteTx) error {
	return func(tx store.WriteTx) error { return tx.PutDocument("job", key, []byte("card")) }
}

// TestFailedSync has the last sync of a commit fail after the pages were written: the moment when
// the file shows what the disk may not have.
func TestFailedSync(t *testing.T) {
	path := filepath.Join(t.TempDir(), "ledger.db")
	e, err := Create(path)
	if err != nil {
		t.Fatal(err)
	}
	if err := e.Update(document("1")); err != nil {
		t.Fatal(err)
	}
	own := errors.New("input/output error")
	e.commit = func(tx *bbolt.Tx) error { return errors.Join(tx.Commit(), own) }
	if err := e.Update(document("2")); !errors.Is(err, store.ErrBroken) || !errors.Is(err, own) {
		t.Errorf("failed commit: %v", err)
	}
	e.commit = (*bbolt.Tx).Commit
	for what, err := range map[string]error{
		"update":   e.Update(document("3")),
		"view":     e.View(func(store.ReadTx) error { t.Error("fn was run"); return nil }),
		"snapshot": e.Snapshot(io.Discard),
		"compact":  e.Compact(),
	} {
		if !errors.Is(err, store.ErrBroken) {
			t.Errorf("%s after it: %v", what, err)
		}
	}
	if err := e.Close(); err != nil {
		t.Fatal(err)
	}
	again, err := Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer again.Close()
	if err := again.Update(document("3")); err != nil {
		t.Errorf("reopened: %v", err)
	}
}

// TestEveryCommitIsSynced: no way of opening a store, and no copy in its place, leaves anything to the system.
func TestEveryCommitIsSynced(t *testing.T) {
	path := filepath.Join(t.TempDir(), "ledger.db")
	synced := func(what string, e *Engine, err error) *Engine {
		if err != nil {
			t.Fatalf("%s: %v", what, err)
		}
		if e.db.NoSync || e.db.NoGrowSync || e.db.NoFreelistSync {
			t.Errorf("%s: it does not sync", what)
		}
		return e
	}
	e, err := Create(path)
	synced("created", e, err)
	synced("compacted", e, e.Compact())
	err = e.Close()
	for what, o := range map[string]Options{"to serve": serving, "for a step": {}, "unchecked": {Unchecked: true}} {
		if err != nil {
			t.Fatal(err)
		}
		e, err = OpenWith(path, o)
		err = synced(what, e, err).Close()
	}
}

// TestBadCopies has the copy fail, lose something or fall over damage: the store stays what it was.
func TestBadCopies(t *testing.T) {
	path := filepath.Join(t.TempDir(), "ledger.db")
	e, err := Create(path)
	if err != nil {
		t.Fatal(err)
	}
	defer e.Close()
	err = e.Update(func(tx store.WriteTx) error {
		return errors.Join(document("1")(tx), tx.PutEntry(0, []byte("x")), tx.PutHash(0, tlog.Hash{1}))
	})
	if err != nil {
		t.Fatal(err)
	}
	own := errors.New("no space left")
	losing := func(bucket []byte) func(to, from *bbolt.DB, batch int64) error {
		return func(to, from *bbolt.DB, batch int64) error {
			return errors.Join(bbolt.Compact(to, from, batch), to.Update(func(tx *bbolt.Tx) error {
				return tx.Bucket(bucket).ForEach(func(k, _ []byte) error { return tx.Bucket(bucket).Delete(k) })
			}))
		}
	}
	for _, c := range []struct {
		what string
		copy func(to, from *bbolt.DB, batch int64) error
		want error
	}{
		{"a full disk", func(to, from *bbolt.DB, batch int64) error { return errors.Join(bbolt.Compact(to, from, batch), own) }, own},
		{"damage", func(*bbolt.DB, *bbolt.DB, int64) error { panic("page 7 is no page") }, store.ErrDamaged},
		{"no entries", losing(bucketEntries), store.ErrDamaged},
		{"no tree", losing(bucketHashes), store.ErrDamaged},
		{"no sum", losing(bucketMeta), store.ErrDamaged},
	} {
		e.copy = c.copy
		if err := e.Compact(); !errors.Is(err, c.want) {
			t.Errorf("%s: %v, want %v", c.what, err, c.want)
		}
		if names, err := os.ReadDir(filepath.Dir(path)); err != nil || len(names) != 2 {
			t.Errorf("%s: beside the store and its holder's name lie %v, %v", c.what, names, err)
		}
		if err := errors.Join(e.View(store.CheckSum), e.Update(document(c.what))); err != nil {
			t.Errorf("%s: after it: %v", c.what, err)
		}
	}
}

// TestOddShapes writes what no version of this package writes.
func TestOddShapes(t *testing.T) {
	for what, c := range map[string]struct {
		bucket []byte
		key    string
		value  int
		read   func(store.ReadTx) error
	}{
		"entry's key":     {bucketEntries, "abc", 1, func(tx store.ReadTx) error { _, err := tx.Entries(); return err }},
		"tree hash":       {bucketHashes, string(number(0)), 5, func(tx store.ReadTx) error { _, err := tx.Hash(0); return err }},
		"blob's name":     {bucketBlobs, "abc", 1, func(tx store.ReadTx) error { return tx.Blobs(func(string, []byte) (bool, error) { return true, nil }) }},
		"document's kind": {bucketDocuments, "abc", 1, store.CheckSum},
		"sum":             {bucketMeta, "sum", 5, func(tx store.ReadTx) error { _, err := tx.Sum(); return err }},
		"sum, to write":   {bucketMeta, "sum", 5, func(tx store.ReadTx) error { _, err := store.SumWith(tx, "job", "7", nil); return err }},
	} {
		e, err := Create(filepath.Join(t.TempDir(), "ledger.db"))
		if err != nil {
			t.Fatal(err)
		}
		err = e.db.Update(func(tx *bbolt.Tx) error { return tx.Bucket(c.bucket).Put([]byte(c.key), make([]byte, c.value)) })
		if err != nil {
			t.Fatal(err)
		}
		if err := e.View(c.read); !errors.Is(err, store.ErrDamaged) {
			t.Errorf("%s: %v", what, err)
		}
		e.Close()
	}
}

// TestWriterBehindTheBrokenOne: an update that waited while another broke the store must not write.
func TestWriterBehindTheBrokenOne(t *testing.T) {
	e, err := Create(filepath.Join(t.TempDir(), "ledger.db"))
	if err != nil {
		t.Fatal(err)
	}
	defer e.Close()
	waiting := make(chan error, 1)
	first := true // commits are one at a time, so this needs no lock
	e.commit = func(tx *bbolt.Tx) error {
		if !first {
			return tx.Commit()
		}
		first = false
		go func() { waiting <- e.Update(document("2")) }()
		time.Sleep(200 * time.Millisecond) // enough for it to wait; if it is late, it is refused all the same
		return errors.New("input/output error")
	}
	if err := e.Update(document("1")); !errors.Is(err, store.ErrBroken) {
		t.Errorf("failed commit: %v", err)
	}
	if err := <-waiting; !errors.Is(err, store.ErrBroken) {
		t.Errorf("the one behind: %v", err)
	}
}

// TestCutShort: a store of which only the first pages are left, or not even those, is damaged.
func TestCutShort(t *testing.T) {
	path := filepath.Join(t.TempDir(), "ledger.db")
	e, err := Create(path)
	if err != nil {
		t.Fatal(err)
	}
	if err := errors.Join(e.Update(document("1")), e.Close()); err != nil {
		t.Fatal(err)
	}
	whole, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	page := os.Getpagesize()
	for _, size := range []int{0, 1, page - 1, page, page + 1, 2*page - 1, 2 * page, 2*page + 1} {
		if err := os.WriteFile(path, whole[:size], 0o600); err != nil {
			t.Fatal(err)
		}
		e, err := OpenReadOnly(path)
		if !errors.Is(err, store.ErrDamaged) {
			t.Errorf("cut at %d of %d: %v", size, len(whole), err)
		}
		if err == nil {
			e.Close()
		}
	}
}
