package storetest

import (
	"errors"
	"fmt"
	"sync"
	"testing"
	"time"

	"golang.org/x/mod/sumdb/tlog"

	"witnessmark/store"
)

// testConcurrentViews needs several views to be open at one moment.
func testConcurrentViews(t *testing.T, m Maker) {
	e := start(t, m)
	update(t, e, fill)
	const readers = 4
	var inside, all sync.WaitGroup
	inside.Add(readers)
	for range readers {
		all.Go(func() {
			err := e.View(func(tx store.ReadTx) error {
				inside.Done()
				inside.Wait() // nobody leaves before everybody is in
				_, err := tx.Entry(0)
				return err
			})
			if err != nil {
				t.Error(err)
			}
		})
	}
	done := make(chan struct{})
	go func() { all.Wait(); close(done) }()
	select {
	case <-done:
	case <-time.After(30 * time.Second):
		t.Fatal("views wait for each other")
	}
}

// testViewIsConsistent commits while a view is open: the view must not see it.
func testViewIsConsistent(t *testing.T, m Maker) {
	e := start(t, m)
	update(t, e, fill)
	view(t, e, func(tx store.ReadTx) error {
		before, err := contents(tx)
		if err != nil {
			return err
		}
		written := make(chan error)
		go func() {
			written <- e.Update(func(tx store.WriteTx) error {
				return errors.Join(tx.PutEntry(1, []byte("entry 1")), tx.DeleteDocument("job", "7"), tx.PutBlob(sha(1), []byte("other")))
			})
		}()
		select {
		case err := <-written:
			if err != nil {
				return err
			}
		case <-time.After(30 * time.Second):
			return errors.New("a small update waits for an open view")
		}
		after, err := contents(tx)
		if after != before {
			t.Errorf("an open view changed from\n%s\nto\n%s", before, after)
		}
		return err
	})
	view(t, e, func(tx store.ReadTx) error {
		if n, err := tx.Entries(); n != 2 || err != nil {
			t.Errorf("%d entries after the commit, %v", n, err)
		}
		return nil
	})
}

// testManyWriters has several goroutines append: each gets its own index, and readers only ever
// see an entry together with the document that was written with it.
func testManyWriters(t *testing.T, m Maker) {
	e := start(t, m)
	const writers, each = 4, 10
	var all sync.WaitGroup
	for w := range writers {
		all.Go(func() {
			for i := range each {
				err := e.Update(func(tx store.WriteTx) error {
					n, err := tx.Entries()
					if err != nil {
						return err
					}
					return errors.Join(tx.PutEntry(n, fmt.Appendf(nil, "%d/%d", w, i)), tx.PutDocument("at", fmt.Sprintf("%06d", n), nil))
				})
				if err != nil {
					t.Error(err)
				}
			}
		})
		all.Go(func() {
			for range each {
				err := e.View(func(tx store.ReadTx) error {
					n, err := tx.Entries()
					if got := len(scan(t, tx, "at", "")); uint64(got) != n {
						t.Errorf("%d entries with %d documents", n, got)
					}
					return err
				})
				if err != nil {
					t.Error(err)
				}
			}
		})
	}
	all.Wait()
	view(t, e, func(tx store.ReadTx) error {
		if n, err := tx.Entries(); n != writers*each || err != nil {
			t.Errorf("%d entries, %v", n, err)
		}
		return nil
	})
}

func testCloseWaits(t *testing.T, m Maker) {
	e := m.New(t)
	update(t, e, fill)
	in, out, closed := make(chan struct{}), make(chan struct{}), make(chan error, 1)
	viewed := make(chan error, 1)
	go func() {
		viewed <- e.View(func(tx store.ReadTx) error {
			close(in)
			<-out
			_, err := tx.Entry(0)
			return err
		})
	}()
	<-in
	go func() { closed <- e.Close() }()
	select {
	case <-closed:
		t.Error("closed under an open view")
	case <-time.After(50 * time.Millisecond):
	}
	close(out)
	if err := errors.Join(<-viewed, <-closed); err != nil {
		t.Error(err)
	}
}

// testLikeTheModel runs random updates, some of which fail, on the engine and on plain maps.
func testLikeTheModel(t *testing.T, m Maker) {
	r := Rand(t)
	e := start(t, m)
	now := model{documents: map[[2]string]string{}, blobs: map[int]string{}, hashes: map[int]tlog.Hash{}}
	own := errors.New("own")
	for range 60 {
		if r.IntN(10) == 0 {
			if err := e.Compact(); err != nil {
				t.Fatal(err)
			}
		}
		next, fail := now.clone(), r.IntN(3) == 0
		err := e.Update(func(tx store.WriteTx) error {
			for range r.IntN(6) {
				if err := next.step(r, tx); err != nil {
					return err
				}
			}
			if fail {
				return own
			}
			return nil
		})
		if fail {
			wantIs(t, "failing update", err, own)
		} else if err != nil {
			t.Fatal(err)
		} else {
			now = next
		}
		if got, want := contentsOf(t, e), now.text(); got != want {
			t.Fatalf("engine\n%s\nmodel\n%s", got, want)
		}
	}
}
