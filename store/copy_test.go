package store_test

import (
	"bytes"
	"errors"
	"fmt"
	"testing"

	"golang.org/x/mod/sumdb/tlog"

	"witnessmark/store"
	"witnessmark/store/memory"
	"witnessmark/store/storetest"
)

// TestCopy copies more than one update takes, once by several and once within a single one, each of which runs
// again as an engine may have it; what is missing is missing in the copy.
func TestCopy(t *testing.T) {
	r := storetest.Rand(t)
	from := memory.New()
	const entries = 300
	err := from.Update(func(tx store.WriteTx) (err error) {
		for i := range entries {
			entry := bytes.Repeat([]byte{byte(i)}, 1+r.IntN(70_000))
			err = errors.Join(err, tx.PutEntry(uint64(i), entry))
		}
		for i := range tlog.StoredHashCount(entries) {
			if i != 40 {
				err = errors.Join(err, tx.PutHash(i, tlog.RecordHash(fmt.Append(nil, i))))
			}
		}
		for i := range 100 {
			err = errors.Join(err, tx.PutBlob(fmt.Sprintf("%064x", r.Uint64()), bytes.Repeat([]byte{byte(i)}, r.IntN(500_000))),
				tx.PutDocument(fmt.Sprint("kind", i%3), fmt.Sprint(r.Uint32()), bytes.Repeat([]byte{byte(i)}, r.IntN(2000))))
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	undone := errors.New("undone")
	for _, what := range []string{"several", "one"} {
		to, updates := memory.New(), 0
		several := func(fn func(store.WriteTx) error) error {
			updates++
			err := to.Update(func(tx store.WriteTx) error { return errors.Join(fn(tx), undone) })
			if !errors.Is(err, undone) {
				return err
			}
			return to.Update(fn)
		}
		err := from.View(func(tx store.ReadTx) error {
			if what == "several" {
				return store.Copy(tx, several)
			}
			return several(func(w store.WriteTx) error {
				return store.Copy(tx, func(fn func(store.WriteTx) error) error { return fn(w) })
			})
		})
		if err != nil {
			t.Fatal(err)
		}
		if want := map[string]bool{"several": updates > 1, "one": updates == 1}; !want[what] {
			t.Errorf("%s: %d updates", what, updates)
		}
		var a, b bytes.Buffer
		if err := errors.Join(dump(from, &a), dump(to, &b)); err != nil {
			t.Fatal(err)
		}
		if !bytes.Equal(a.Bytes(), b.Bytes()) {
			t.Errorf("%s: the copy differs", what)
		}
	}
	err = from.View(func(tx store.ReadTx) error {
		return store.Copy(tx, func(func(store.WriteTx) error) error { return undone })
	})
	if !errors.Is(err, undone) {
		t.Errorf("an update that fails: %v", err)
	}
}

// dump is all that a store holds.
func dump(e store.Engine, out *bytes.Buffer) error {
	return e.View(func(tx store.ReadTx) error {
		n, err := tx.Entries()
		for i := range n {
			entry, err := tx.Entry(i)
			if err != nil {
				return err
			}
			fmt.Fprintf(out, "entry %d %x\n", i, entry)
		}
		for i := range tlog.StoredHashCount(int64(n)) {
			h, err := tx.Hash(i)
			fmt.Fprintf(out, "hash %d %v %v\n", i, h, err)
		}
		sum, err1 := tx.Sum()
		fmt.Fprintf(out, "sum %x\n", sum)
		return errors.Join(err, err1, tx.Blobs(func(sha256 string, packed []byte) (bool, error) {
			fmt.Fprintf(out, "blob %s %x\n", sha256, packed)
			return true, nil
		}), tx.Documents(func(kind, key string, value []byte) (bool, error) {
			fmt.Fprintf(out, "%s %s %x\n", kind, key, value)
			return true, nil
		}))
	})
}
