package storetest

import (
	"bytes"
	"errors"
	"fmt"
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

func testNoWriteWhileScanning(t *testing.T, m Maker) {
	e := start(t, m)
	update(t, e, fill)
	before := contentsOf(t, e)
	err := e.Update(func(tx store.WriteTx) error {
		return tx.Scan("job", "", func(key string, _ []byte) (bool, error) {
			return true, tx.DeleteDocument("job", key)
		})
	})
	wantIs(t, "delete while scanning", err, store.ErrInvalid)
	if contentsOf(t, e) != before {
		t.Error("it deleted")
	}
	update(t, e, func(tx store.WriteTx) error {
		for _, key := range scan(t, tx, "job", "") {
			if err := tx.DeleteDocument("job", key); err != nil {
				return err
			}
		}
		return nil
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
	if err := e.Close(); err != nil {
		t.Errorf("second close: %v", err)
	}
}
