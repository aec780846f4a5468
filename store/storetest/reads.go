package storetest

import (
	"errors"
	"slices"
	"testing"

	"witnessmark/store"
)

// readsAll reads one of everything, found and not.
func readsAll(tx store.ReadTx) error {
	first := 0
	_, err1 := tx.Entry(0)
	_, err2 := tx.Hash(0)
	_, err3 := tx.Blob(sha(1))
	_, err4 := tx.Document("job", "7")
	_, none1 := tx.Document("job", "none")
	_, none2 := tx.Blob(sha(9))
	_, none3 := tx.Hash(9)
	for _, err := range []error{none1, none2, none3} {
		if !errors.Is(err, store.ErrNotFound) {
			return err
		}
	}
	return errors.Join(err1, err2, err3, err4,
		tx.Scan("list", "b", func(string, []byte) (bool, error) { first++; return first < 2, nil }),
		tx.Scan("end", "", func(string, []byte) (bool, error) { return true, nil }))
}

// testReadsSame makes one change at a time to a store that was read, and says whether what was
// read stands.
func testReadsSame(t *testing.T, m Maker) {
	base := func(tx store.WriteTx) error {
		err := fill(tx)
		for _, key := range []string{"a", "b", "d", "f"} {
			err = errors.Join(err, tx.PutDocument("list", key, []byte("x")))
		}
		return errors.Join(err, tx.PutDocument("end", "b", nil))
	}
	entries := func(tx store.ReadTx) error { _, err := tx.Entries(); return err }
	sum := func(tx store.ReadTx) error { _, err := tx.Sum(); return err }
	documents := func(tx store.ReadTx) error {
		return tx.Documents(func(string, string, []byte) (bool, error) { return true, nil })
	}
	blobs := func(tx store.ReadTx) error { return tx.Blobs(func(string, []byte) (bool, error) { return true, nil }) }
	put := func(kind, key, value string) func(store.WriteTx) error {
		return func(tx store.WriteTx) error { return tx.PutDocument(kind, key, []byte(value)) }
	}
	e := start(t, m)
	update(t, e, base)
	undone := errors.New("undone")
	for _, c := range []struct {
		what   string
		read   func(store.ReadTx) error
		change func(store.WriteTx) error
		same   bool
	}{
		{"nothing changed", readsAll, func(store.WriteTx) error { return nil }, true},
		{"a document of no concern", readsAll, put("job", "8", "x"), true},
		{"another entry", readsAll, func(tx store.WriteTx) error { return tx.PutEntry(1, []byte("x")) }, true},
		{"another entry, counted", entries, func(tx store.WriteTx) error { return tx.PutEntry(1, []byte("x")) }, false},
		{"the same document again", readsAll, put("job", "7", "card"), true},
		{"another document", readsAll, put("job", "7", "cards"), false},
		{"an empty document", readsAll, put("job", "7", ""), false},
		{"a document deleted", readsAll, func(tx store.WriteTx) error { return tx.DeleteDocument("job", "7") }, false},
		{"a document that was not there", readsAll, put("job", "none", ""), false},
		{"a hash", readsAll, func(tx store.WriteTx) error { return tx.PutHash(0, [32]byte{1}) }, false},
		{"a hash that was not there", readsAll, func(tx store.WriteTx) error { return tx.PutHash(9, [32]byte{}) }, false},
		{"a blob packed anew", readsAll, func(tx store.WriteTx) error { return tx.PutBlob(sha(1), []byte("x")) }, true},
		{"a blob deleted", readsAll, func(tx store.WriteTx) error { return tx.DeleteBlob(sha(1)) }, false},
		{"a blob that was not there", readsAll, func(tx store.WriteTx) error { return tx.PutBlob(sha(9), nil) }, false},
		{"before the scan", readsAll, put("list", "a", "y"), true},
		{"at the scan's start", readsAll, put("list", "b", "y"), false},
		{"between what was scanned", readsAll, put("list", "c", "x"), false},
		{"where the scan stopped", readsAll, put("list", "d", "y"), false},
		{"a byte moved from value to key", readsAll, func(tx store.WriteTx) error {
			return errors.Join(tx.DeleteDocument("list", "d"), tx.PutDocument("list", "dx", nil))
		}, false},
		{"right behind it", readsAll, put("list", "d\x00", "x"), true},
		{"far behind it", readsAll, func(tx store.WriteTx) error { return tx.DeleteDocument("list", "f") }, true},
		{"scanned and deleted", readsAll, func(tx store.WriteTx) error { return tx.DeleteDocument("list", "d") }, false},
		{"behind a scan to the end", readsAll, put("end", "c", ""), false},
		{"the end scanned, deleted", readsAll, func(tx store.WriteTx) error { return tx.DeleteDocument("end", "b") }, false},
		{"the sum", sum, put("any", "", ""), false},
		{"any document", documents, put("any", "", ""), false},
		{"documents, blobs changed", documents, func(tx store.WriteTx) error { return tx.PutBlob(sha(9), nil) }, true},
		{"any blob", blobs, func(tx store.WriteTx) error { return tx.PutBlob(sha(9), nil) }, false},
		{"dropped", readsAll, func(tx store.WriteTx) error { return tx.DropDocuments() }, false},
	} {
		var reads store.Reads
		view(t, e, func(tx store.ReadTx) error { return c.read(store.Record(tx, &reads)) })
		wantIs(t, c.what, e.Update(func(tx store.WriteTx) error {
			if same, err := reads.Same(tx); !same || err != nil {
				t.Errorf("%s: before it same is %v, %v", c.what, same, err)
			}
			if err := c.change(tx); err != nil {
				return err
			}
			same, err := reads.Same(tx)
			if same != c.same {
				t.Errorf("%s: same is %v", c.what, same)
			}
			return errors.Join(err, undone)
		}), undone)
	}
}

// testReadsLikeTheModel reads at random, in two transactions, and changes at random: what was read
// stands exactly if reading it again gives the same.
func testReadsLikeTheModel(t *testing.T, m Maker) {
	r := Rand(t)
	e := start(t, m)
	letter := func() string { return string(rune('a' + r.IntN(8))) }
	alike, unlike := 0, 0
	for range 150 {
		var asked []func(tx store.ReadTx) string
		for range 1 + r.IntN(4) {
			key, most := letter(), r.IntN(4)
			asked = append(asked, func(tx store.ReadTx) (got string) {
				value, err := tx.Document("job", key)
				return string(value) + map[bool]string{true: "none"}[errors.Is(err, store.ErrNotFound)]
			}, func(tx store.ReadTx) (got string) {
				n := 0
				_ = tx.Scan("job", key, func(key string, value []byte) (bool, error) {
					got += key + "=" + string(value) + " "
					n++
					return n < most || most == 0, nil
				})
				return got
			})
		}
		var reads store.Reads
		var first, second, last []string
		read := func(into *[]string) {
			view(t, e, func(tx store.ReadTx) error {
				for _, ask := range asked {
					*into = append(*into, ask(store.Record(tx, &reads)))
				}
				return nil
			})
		}
		change := func(tx store.WriteTx) error {
			switch r.IntN(4) {
			case 0:
				return tx.DeleteDocument("job", letter())
			case 1:
				return tx.PutDocument("job", letter(), []byte(letter()))
			}
			return nil
		}
		read(&first)
		update(t, e, change)
		read(&second)
		update(t, e, change)
		view(t, e, func(tx store.ReadTx) error {
			for _, ask := range asked {
				last = append(last, ask(tx))
			}
			same, err := reads.Same(tx)
			want := slices.Equal(first, second) && slices.Equal(second, last)
			if same != want {
				t.Errorf("same is %v of %q, %q, %q", same, first, second, last)
			}
			if want {
				alike++
			} else {
				unlike++
			}
			return err
		})
	}
	if alike == 0 || unlike == 0 {
		t.Errorf("%d alike, %d unlike: the test tries one of both alone", alike, unlike)
	}
}
