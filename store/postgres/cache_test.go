package postgres

import (
	"errors"
	"fmt"
	"maps"
	"math/rand/v2"
	"testing"

	"golang.org/x/mod/sumdb/tlog"

	"witnessmark/store"
	"witnessmark/store/postgres/pgtest"
	"witnessmark/store/storetest"
)

// TestCacheLikeNone has two engines write and read one database in turn; whatever they answer, an engine that
// remembers nothing answers too, also within a view of an older state and within an update.
func TestCacheLikeNone(t *testing.T) {
	r := storetest.Rand(t)
	url := pgtest.URL(t)
	engines := []*Engine{open(t, url, Options{}), open(t, url, Options{})}
	plain := open(t, url, Options{})
	plain.uncached = true
	all := func(tx store.ReadTx) (map[string]string, error) {
		out := map[string]string{}
		for i := range 8 {
			v, err := tx.Document("k", fmt.Sprint(i))
			if err != nil && !errors.Is(err, store.ErrNotFound) {
				return nil, err
			}
			h, err := tx.Hash(int64(i))
			if err != nil && !errors.Is(err, store.ErrNotFound) {
				return nil, err
			}
			out[fmt.Sprint(i)] = fmt.Sprintf("%q %v", v, h)
		}
		sum, err := tx.Sum()
		out["sum"] = fmt.Sprintf("%x", sum)
		return out, err
	}
	read := func(e *Engine) (out map[string]string) {
		if err := e.View(func(tx store.ReadTx) (err error) { out, err = all(tx); return err }); err != nil {
			t.Fatal(err)
		}
		return out
	}
	undone := errors.New("undone")
	for range 50 {
		e := engines[r.IntN(2)]
		err := e.View(func(tx store.ReadTx) error { // begins before the update and reads half of it after
			before := read(plain)
			err := engines[r.IntN(2)].Update(func(w store.WriteTx) error {
				if err := randomly(r, w); err != nil {
					return err
				}
				if r.IntN(4) == 0 {
					if _, err := all(w); err != nil {
						return err
					}
				}
				if r.IntN(5) == 0 {
					return undone
				}
				return randomly(r, w)
			})
			if err != nil && !errors.Is(err, undone) {
				return err
			}
			got, err := all(tx)
			if !maps.Equal(got, before) {
				t.Errorf("a view of before shows\n%v, want\n%v", got, before)
			}
			return err
		})
		if err != nil {
			t.Fatal(err)
		}
		want := read(plain)
		for i, e := range engines {
			if got := read(e); !maps.Equal(got, want) {
				t.Fatalf("engine %d shows\n%v, want\n%v", i, got, want)
			}
		}
	}
	if len(engines[0].cache.values) == 0 {
		t.Error("nothing was remembered")
	}
}

// randomly writes a few documents and hashes.
func randomly(r *rand.Rand, w store.WriteTx) (err error) {
	for range r.IntN(4) {
		key, value := fmt.Sprint(r.IntN(8)), fmt.Sprint(r.IntN(5))
		switch r.IntN(9) {
		case 0:
			err = errors.Join(err, w.DropDocuments())
		case 1, 2:
			err = errors.Join(err, w.DeleteDocument("k", key))
		case 3, 4:
			err = errors.Join(err, w.PutHash(int64(r.IntN(8)), tlog.RecordHash([]byte(value))))
		default:
			err = errors.Join(err, w.PutDocument("k", key, []byte(value)))
		}
	}
	return err
}

// TestCacheIsBounded: what is large, and what is much, is not kept.
func TestCacheIsBounded(t *testing.T) {
	c := &cache{}
	c.clear()
	for i := range 3 * cacheBytes / cacheLargest {
		c.read(0, update{}, name{"k", fmt.Sprint(i)}, make([]byte, cacheLargest))
		sum := 0
		for n, v := range c.values {
			sum += size(n, v.value)
		}
		if sum != c.bytes || sum > cacheBytes {
			t.Fatalf("%d bytes, counted as %d", sum, c.bytes)
		}
	}
	c.read(0, update{}, name{"k", "0"}, make([]byte, cacheLargest+1))
	if _, ok := c.get(0, 0, name{"k", "0"}); ok {
		t.Error("too large a value is kept")
	}
}
