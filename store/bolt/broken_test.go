package bolt

import (
	"errors"
	"io"
	"path/filepath"
	"testing"
	"time"

	"go.etcd.io/bbolt"

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
