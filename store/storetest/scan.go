package storetest

import (
	"bytes"
	"errors"
	"fmt"
	"sync"
	"testing"

	"witnessmark/store"
)

func testScanOrder(t *testing.T, m Maker) {
	e := start(t, m)
	// Written out of order, with kinds that begin alike and keys at both ends of what a byte is.
	update(t, e, func(tx store.WriteTx) error {
		var err error
		for _, key := range []string{"10", "2", "", "\xff\xff", "é", "1", "\x00"} {
			err = errors.Join(err, tx.PutDocument("job", key, []byte(key)))
		}
		return errors.Join(err, tx.PutDocument("jobs", "1", nil), tx.PutDocument("jo", "b", nil), tx.PutDocument("k", "0", nil))
	})
	view(t, e, func(tx store.ReadTx) error {
		wantKeys(t, "all", scan(t, tx, "job", ""), "", "\x00", "1", "10", "2", "é", "\xff\xff")
		wantKeys(t, "from a key", scan(t, tx, "job", "10"), "10", "2", "é", "\xff\xff")
		wantKeys(t, "from between keys", scan(t, tx, "job", "11"), "2", "é", "\xff\xff")
		wantKeys(t, "from the last", scan(t, tx, "job", "\xff\xff"), "\xff\xff")
		wantKeys(t, "from after all", scan(t, tx, "job", "\xff\xff\xff"))
		wantKeys(t, "a longer kind", scan(t, tx, "jobs", ""), "1")
		wantKeys(t, "a shorter kind", scan(t, tx, "jo", ""), "b")
		wantKeys(t, "no such kind", scan(t, tx, "joc", ""))
		return tx.Scan("job", "", func(key string, value []byte) (bool, error) {
			if key != string(value) {
				t.Errorf("key %q has the value %q", key, value)
			}
			return true, nil
		})
	})
}

func testScanStops(t *testing.T, m Maker) {
	e := start(t, m)
	update(t, e, func(tx store.WriteTx) error {
		var err error
		for i := range 1000 {
			err = errors.Join(err, tx.PutDocument("job", fmt.Sprintf("%04d", i), bytes.Repeat([]byte{1}, 100)))
		}
		return err
	})
	own := errors.New("own")
	view(t, e, func(tx store.ReadTx) error {
		calls := 0
		err := tx.Scan("job", "0500", func(string, []byte) (bool, error) { calls++; return calls < 3, nil })
		if err != nil || calls != 3 {
			t.Errorf("%d calls, %v", calls, err)
		}
		wantIs(t, "scan", tx.Scan("job", "", func(string, []byte) (bool, error) { return true, own }), own)
		if n := len(scan(t, tx, "job", "0001")); n != 999 {
			t.Errorf("%d keys", n)
		}
		// One scan inside another is reading, and so is allowed.
		return tx.Scan("job", "0998", func(key string, _ []byte) (bool, error) {
			wantKeys(t, "inner", scan(t, tx, "job", "0999"), "0999")
			return true, nil
		})
	})
}

// testScansOfAll goes through blobs and documents of all kinds, and stops in the middle.
func testScansOfAll(t *testing.T, m Maker) {
	e := start(t, m)
	update(t, e, func(tx store.WriteTx) error {
		return errors.Join(
			tx.PutDocument("jobs", "1", []byte("d")), tx.PutDocument("job", "2", []byte("c")), tx.PutDocument("job", "", []byte("a")),
			tx.PutDocument("job", "\x00", []byte("b")), tx.PutDocument("k", "0", nil),
			tx.PutBlob(sha(300), []byte("third")), tx.PutBlob(sha(2), []byte("second")), tx.PutBlob(sha(1), nil),
		)
	})
	view(t, e, func(tx store.ReadTx) error {
		for most := 1; most < 7; most++ {
			var documents, blobs []string
			err1 := tx.Documents(func(kind, key string, value []byte) (bool, error) {
				documents = append(documents, kind+" "+key+" "+string(value))
				return len(documents) < most, nil
			})
			err2 := tx.Blobs(func(sha string, packed []byte) (bool, error) {
				blobs = append(blobs, sha+" "+string(packed))
				return len(blobs) < most, nil
			})
			if err := errors.Join(err1, err2); err != nil {
				return err
			}
			allDocuments := []string{"job  a", "job \x00 b", "job 2 c", "jobs 1 d", "k 0 "}
			allBlobs := []string{sha(1) + " ", sha(2) + " second", sha(300) + " third"}
			wantKeys(t, "documents", documents, allDocuments[:min(most, 5)]...)
			wantKeys(t, "blobs", blobs, allBlobs[:min(most, 3)]...)
		}
		own := errors.New("own")
		wantIs(t, "documents", tx.Documents(func(string, string, []byte) (bool, error) { return true, own }), own)
		wantIs(t, "blobs", tx.Blobs(func(string, []byte) (bool, error) { return true, own }), own)
		return nil
	})
}

func testNoWriteWhileScanning(t *testing.T, m Maker) {
	e := start(t, m)
	update(t, e, fill)
	before := contentsOf(t, e)
	for what, fn := range map[string]func(store.WriteTx) error{
		"document": func(tx store.WriteTx) error {
			return tx.Scan("job", "", func(key string, _ []byte) (bool, error) { return true, tx.DeleteDocument("job", key) })
		},
		"documents": func(tx store.WriteTx) error {
			return tx.Documents(func(string, string, []byte) (bool, error) { return true, tx.DropDocuments() })
		},
		"blob": func(tx store.WriteTx) error {
			return tx.Blobs(func(sha string, _ []byte) (bool, error) { return true, tx.DeleteBlob(sha) })
		},
	} {
		wantIs(t, what+" deleted while scanning", e.Update(fn), store.ErrInvalid)
	}
	if contentsOf(t, e) != before {
		t.Error("it deleted")
	}
}

func testDropDocuments(t *testing.T, m Maker) {
	e := start(t, m)
	update(t, e, fill)
	update(t, e, func(tx store.WriteTx) error {
		if err := errors.Join(tx.PutDocument("person", "1", []byte("x")), tx.DropDocuments()); err != nil {
			return err
		}
		wantKeys(t, "dropped", scan(t, tx, "job", ""))
		return tx.PutDocument("job", "8", []byte("made again"))
	})
	view(t, e, func(tx store.ReadTx) error {
		wantKeys(t, "after it", scan(t, tx, "job", ""), "8")
		wantKeys(t, "another kind", scan(t, tx, "person", ""))
		_, err1 := tx.Entry(0)
		_, err2 := tx.Blob(sha(1))
		return errors.Join(err1, err2, store.CheckSum(tx))
	})
}

func testSnapshot(t *testing.T, m Maker) {
	e := start(t, m)
	update(t, e, fill)
	want := contentsOf(t, e)
	var snapshot bytes.Buffer
	if err := e.Snapshot(&snapshot); err != nil {
		t.Fatal(err)
	}
	update(t, e, func(tx store.WriteTx) error { return tx.PutEntry(1, []byte("later")) })
	again := m.Open(t, snapshot.Bytes())
	if got := contentsOf(t, again); got != want {
		t.Errorf("reopened\n%s\nwant\n%s", got, want)
	}
	update(t, again, func(tx store.WriteTx) error { return tx.PutEntry(1, []byte("another")) })
	if err := again.Close(); err != nil {
		t.Error(err)
	}
	own := errors.New("own")
	wantIs(t, "a writer that fails", e.Snapshot(failing{own}), own)
}

// testCompact compacts twice in a row, and writes after it.
func testCompact(t *testing.T, m Maker) {
	e := start(t, m)
	update(t, e, fill)
	update(t, e, func(tx store.WriteTx) error {
		return errors.Join(tx.PutDocument("job", "8", bytes.Repeat([]byte("x"), 50_000)), tx.DeleteDocument("job", "7"))
	})
	want := contentsOf(t, e)
	for range 2 {
		if err := e.Compact(); err != nil {
			t.Fatal(err)
		}
		if got := contentsOf(t, e); got != want {
			t.Errorf("compacted\n%s\nwant\n%s", got, want)
		}
	}
	update(t, e, func(tx store.WriteTx) error { return tx.PutEntry(1, []byte("later")) })
}

// testCompactAmongOthers compacts while others write and read: they wait and do not fail.
func testCompactAmongOthers(t *testing.T, m Maker) {
	e := start(t, m)
	const each = 20
	var all sync.WaitGroup
	for w := range 2 {
		all.Go(func() {
			for i := range each {
				err := e.Update(func(tx store.WriteTx) error {
					return tx.PutDocument("job", fmt.Sprint(w, " ", i), bytes.Repeat([]byte("x"), i*100))
				})
				if err := errors.Join(err, e.View(store.CheckSum)); err != nil {
					t.Error(err)
				}
			}
		})
	}
	for range 5 {
		if err := e.Compact(); err != nil {
			t.Error(err)
		}
	}
	all.Wait()
	view(t, e, func(tx store.ReadTx) error {
		if n := len(scan(t, tx, "job", "")); n != 2*each {
			t.Errorf("%d documents, %d were written", n, 2*each)
		}
		return nil
	})
}

type failing struct{ err error }

func (f failing) Write([]byte) (int, error) { return 0, f.err }

func testClosed(t *testing.T, m Maker) {
	e := m.New(t)
	update(t, e, fill)
	if err := e.Close(); err != nil {
		t.Fatal(err)
	}
	never := func() error { t.Error("fn was run"); return nil }
	wantIs(t, "view", e.View(func(store.ReadTx) error { return never() }), store.ErrClosed)
	wantIs(t, "update", e.Update(func(store.WriteTx) error { return never() }), store.ErrClosed)
	wantIs(t, "snapshot", e.Snapshot(&bytes.Buffer{}), store.ErrClosed)
	wantIs(t, "compact", e.Compact(), store.ErrClosed)
	if err := e.Close(); err != nil {
		t.Errorf("second close: %v", err)
	}
}
