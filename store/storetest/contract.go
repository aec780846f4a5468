package storetest

import (
	"bytes"
	"errors"
	"strings"
	"testing"

	"golang.org/x/mod/sumdb/tlog"

	"witnessmark/store"
)

func testEmpty(t *testing.T, m Maker) {
	e := start(t, m)
	view(t, e, func(tx store.ReadTx) error {
		if n, err := tx.Entries(); n != 0 || err != nil {
			t.Errorf("%d entries, %v", n, err)
		}
		_, err := tx.Entry(0)
		wantIs(t, "entry", err, store.ErrNotFound)
		_, err = tx.Hash(0)
		wantIs(t, "hash", err, store.ErrNotFound)
		_, err = tx.Blob(sha(1))
		wantIs(t, "blob", err, store.ErrNotFound)
		_, err = tx.Document("job", "7")
		wantIs(t, "document", err, store.ErrNotFound)
		wantKeys(t, "scan", scan(t, tx, "job", ""))
		if sum, err := tx.Sum(); sum != (store.Sum{}) || err != nil {
			t.Errorf("sum %x, %v", sum, err)
		}
		return store.CheckSum(tx)
	})
}

func testWrittenIsRead(t *testing.T, m Maker) {
	e := start(t, m)
	update(t, e, fill)
	update(t, e, func(tx store.WriteTx) error {
		return errors.Join(
			tx.PutEntry(1, bytes.Repeat([]byte("long"), 50_000)),
			tx.PutHash(1, tlog.Hash{1}), tx.PutHash(2, tlog.Hash{2}), tx.PutHash(2, tlog.Hash{3}),
			tx.PutBlob(sha(1), []byte("packed again")), tx.PutBlob(sha(2), nil),
			tx.PutDocument("job", "7", []byte("card, edited")), tx.PutDocument("job", "", nil),
			tx.PutDocument("job", "8", []byte("x")), tx.DeleteDocument("job", "8"), tx.DeleteDocument("job", "9"),
			tx.PutBlob(sha(4), []byte("x")), tx.DeleteBlob(sha(4)), tx.DeleteBlob(sha(5)),
		)
	})
	view(t, e, func(tx store.ReadTx) error {
		if n, err := tx.Entries(); n != 2 || err != nil {
			t.Errorf("%d entries, %v", n, err)
		}
		for _, c := range []struct {
			what, want string
			read       func() ([]byte, error)
		}{
			{"entry 0", "entry 0", func() ([]byte, error) { return tx.Entry(0) }},
			{"entry 1", strings.Repeat("long", 50_000), func() ([]byte, error) { return tx.Entry(1) }},
			{"blob written twice", "packed again", func() ([]byte, error) { return tx.Blob(sha(1)) }},
			{"empty blob", "", func() ([]byte, error) { return tx.Blob(sha(2)) }},
			{"document written twice", "card, edited", func() ([]byte, error) { return tx.Document("job", "7") }},
			{"empty document of the empty key", "", func() ([]byte, error) { return tx.Document("job", "") }},
			{"hash 2", string(append([]byte{3}, make([]byte, 31)...)), func() ([]byte, error) { h, err := tx.Hash(2); return h[:], err }},
		} {
			if got, err := c.read(); err != nil || string(got) != c.want {
				t.Errorf("%s: %d bytes, %v", c.what, len(got), err)
			}
		}
		_, err := tx.Document("job", "8")
		wantIs(t, "deleted document", err, store.ErrNotFound)
		_, err = tx.Blob(sha(4))
		wantIs(t, "deleted blob", err, store.ErrNotFound)
		return nil
	})
}

func testReadsOwnWrites(t *testing.T, m Maker) {
	e := start(t, m)
	update(t, e, func(tx store.WriteTx) error { // more than the whole store before it
		large := bytes.Repeat([]byte("large"), 1<<20)
		err := errors.Join(tx.PutBlob(sha(9), large), tx.PutDocument("large", "", large))
		blob, err1 := tx.Blob(sha(9))
		document, err2 := tx.Document("large", "")
		if err := errors.Join(err, err1, err2); err != nil || !bytes.Equal(blob, large) || !bytes.Equal(document, large) {
			t.Errorf("read while it is written: %d and %d bytes, %v", len(blob), len(document), err)
		}
		return errors.Join(tx.DeleteBlob(sha(9)), tx.DeleteDocument("large", ""))
	})
	update(t, e, func(tx store.WriteTx) error {
		if err := fill(tx); err != nil {
			return err
		}
		if err := errors.Join(tx.PutDocument("job", "empty", nil), tx.PutBlob(sha(3), nil)); err != nil {
			return err
		}
		n, err := tx.Entries()
		if n != 1 || err != nil {
			t.Errorf("%d entries, %v", n, err)
		}
		for what, read := range map[string]func() error{
			"entry":          func() error { _, err := tx.Entry(0); return err },
			"hash":           func() error { _, err := tx.Hash(0); return err },
			"blob":           func() error { _, err := tx.Blob(sha(1)); return err },
			"empty blob":     func() error { _, err := tx.Blob(sha(3)); return err },
			"document":       func() error { _, err := tx.Document("job", "7"); return err },
			"empty document": func() error { _, err := tx.Document("job", "empty"); return err },
		} {
			if err := read(); err != nil {
				t.Errorf("%s: %v", what, err)
			}
		}
		wantKeys(t, "scan", scan(t, tx, "job", ""), "7", "empty")
		return tx.PutEntry(1, []byte("entry 1"))
	})
}

func testNextEntryOnly(t *testing.T, m Maker) {
	e := start(t, m)
	update(t, e, fill)
	before := contentsOf(t, e)
	for _, index := range []uint64{0, 2, 1 << 40, 1<<64 - 1} {
		wantIs(t, "entry out of order", e.Update(func(tx store.WriteTx) error { return tx.PutEntry(index, []byte("x")) }), store.ErrInvalid)
	}
	wantIs(t, "empty entry", e.Update(func(tx store.WriteTx) error { return tx.PutEntry(1, nil) }), store.ErrInvalid)
	if contentsOf(t, e) != before {
		t.Error("refused entries left something")
	}
}

func testInvalidArguments(t *testing.T, m Maker) {
	e := start(t, m)
	long := strings.Repeat("k", store.MaxKey)
	for what, fn := range map[string]func(store.WriteTx) error{
		"negative hash":      func(tx store.WriteTx) error { return tx.PutHash(-1, tlog.Hash{}) },
		"short blob name":    func(tx store.WriteTx) error { return tx.PutBlob("ab", nil) },
		"blob in capitals":   func(tx store.WriteTx) error { return tx.PutBlob(strings.Repeat("AB", 32), nil) },
		"blob deleted by":    func(tx store.WriteTx) error { return tx.DeleteBlob("ab") },
		"blob read by what":  func(tx store.WriteTx) error { _, err := tx.Blob("../x"); return err },
		"no kind":            func(tx store.WriteTx) error { return tx.PutDocument("", "k", nil) },
		"NUL in kind":        func(tx store.WriteTx) error { return tx.PutDocument("a\x00b", "k", nil) },
		"long key":           func(tx store.WriteTx) error { return tx.PutDocument("job", long, nil) },
		"delete of no kind":  func(tx store.WriteTx) error { return tx.DeleteDocument("", "k") },
		"document, no kind":  func(tx store.WriteTx) error { _, err := tx.Document("", "k"); return err },
		"scan of no kind":    func(tx store.WriteTx) error { return tx.Scan("", "", nil) },
		"scan from long key": func(tx store.WriteTx) error { return tx.Scan("job", long, nil) },
	} {
		wantIs(t, what, e.Update(fn), store.ErrInvalid)
	}
}

func testErrorChangesNothing(t *testing.T, m Maker) {
	e := start(t, m)
	update(t, e, func(tx store.WriteTx) error { return tx.PutDocument("job", "6", []byte("kept")) })
	before := contentsOf(t, e)
	own := errors.New("own")
	wantIs(t, "update", e.Update(func(tx store.WriteTx) error {
		if err := errors.Join(fill(tx), tx.DeleteDocument("job", "6")); err != nil {
			return err
		}
		return own
	}), own)
	if contentsOf(t, e) != before {
		t.Error("an update that failed left something")
	}
	wantIs(t, "view", e.View(func(store.ReadTx) error { return own }), own)
	update(t, e, fill)
}

func testPanicChangesNothing(t *testing.T, m Maker) {
	e := start(t, m)
	before := contentsOf(t, e)
	panics := func(run func()) (what any) {
		defer func() { what = recover() }()
		run()
		return nil
	}
	got := panics(func() {
		_ = e.Update(func(tx store.WriteTx) error { _ = fill(tx); panic("of fn") })
	})
	if got != "of fn" {
		t.Errorf("recovered %v", got)
	}
	if got := panics(func() { _ = e.View(func(store.ReadTx) error { panic("of fn") }) }); got != "of fn" {
		t.Errorf("recovered %v", got)
	}
	if contentsOf(t, e) != before {
		t.Error("an update that panicked left something")
	}
	update(t, e, fill) // and no lock is left behind
}

func testHiddenFailure(t *testing.T, m Maker) {
	e := start(t, m)
	before := contentsOf(t, e)
	err := e.Update(func(tx store.WriteTx) error {
		_ = fill(tx)
		_ = tx.PutEntry(9, []byte("x"))
		return nil
	})
	wantIs(t, "a failure that fn hides", err, store.ErrInvalid)
	if contentsOf(t, e) != before {
		t.Error("half an update was kept")
	}
}

func testCopies(t *testing.T, m Maker) {
	e := start(t, m)
	entry, blob, value := []byte("entry 0"), []byte("packed"), []byte("card")
	update(t, e, func(tx store.WriteTx) error {
		err := errors.Join(tx.PutEntry(0, entry), tx.PutBlob(sha(1), blob), tx.PutDocument("job", "7", value))
		// A caller may reuse its buffers at once.
		entry[0], blob[0], value[0] = 'X', 'X', 'X'
		return err
	})
	before := contentsOf(t, e)
	if strings.Contains(before, "X") {
		t.Errorf("the store keeps the caller's slices: %s", before)
	}
	view(t, e, func(tx store.ReadTx) error {
		a, err1 := tx.Entry(0)
		b, err2 := tx.Blob(sha(1))
		c, err3 := tx.Document("job", "7")
		if err := errors.Join(err1, err2, err3); err != nil {
			return err
		}
		a[0], b[0], c[0] = 'X', 'X', 'X'
		_ = append(a, 'X')
		return tx.Scan("job", "", func(_ string, value []byte) (bool, error) { value[0] = 'X'; return true, nil })
	})
	if contentsOf(t, e) != before {
		t.Error("a reader changed the store")
	}
}

func testDeadTransactions(t *testing.T, m Maker) {
	e := start(t, m)
	var dead store.WriteTx
	update(t, e, func(tx store.WriteTx) error { dead = tx; return fill(tx) })
	before := contentsOf(t, e)
	wantIs(t, "write", dead.PutEntry(1, []byte("x")), store.ErrClosed)
	wantIs(t, "write", dead.PutDocument("job", "8", nil), store.ErrClosed)
	wantIs(t, "write", dead.DeleteBlob(sha(1)), store.ErrClosed)
	wantIs(t, "write", dead.DropDocuments(), store.ErrClosed)
	wantIs(t, "scan", dead.Scan("job", "", nil), store.ErrClosed)
	wantIs(t, "scan", dead.Blobs(nil), store.ErrClosed)
	wantIs(t, "scan", dead.Documents(nil), store.ErrClosed)
	_, err := dead.Entry(0)
	wantIs(t, "read", err, store.ErrClosed)
	_, err = dead.Entries()
	wantIs(t, "read", err, store.ErrClosed)
	_, err = dead.Sum()
	wantIs(t, "read", err, store.ErrClosed)
	if contentsOf(t, e) != before {
		t.Error("a dead transaction wrote")
	}
}
