package postgres

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"net"
	"net/url"
	"path/filepath"
	"sync/atomic"
	"testing"
	"time"

	"witnessmark/store"
	"witnessmark/store/postgres/pgtest"
)

// cutting leads to a database, and ends a connection that sends a COMMIT, before the database gets it or before the
// engine gets its answer.
type cutting struct {
	cut   atomic.Int32 // one of the constants below; it is over after one
	times atomic.Int32
	shuts atomic.Bool // and lets nobody in from then on
	shut  atomic.Bool
}

const (
	cutNothing = iota
	cutBefore
	cutAfter
)

// through starts one and answers with the URL that leads through it.
func (p *cutting) through(t *testing.T, to string) string {
	t.Helper()
	u, err := url.Parse(to)
	if err != nil {
		t.Fatal(err)
	}
	socket := filepath.Join(u.Query().Get("host"), ".s.PGSQL.5432")
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { l.Close() })
	go func() {
		for {
			from, err := l.Accept()
			if err != nil {
				return
			}
			back, err := net.Dial("unix", socket)
			if err != nil || p.shut.Load() {
				from.Close()
				continue
			}
			go p.carry(from, back)
		}
	}()
	return fmt.Sprintf("postgres://postgres@%s%s?sslmode=disable", l.Addr(), u.Path)
}

func (p *cutting) carry(from, back net.Conn) {
	defer from.Close()
	defer back.Close()
	var deaf atomic.Bool
	go func() {
		defer from.Close()
		buffer := make([]byte, 64<<10)
		for {
			n, err := back.Read(buffer)
			if err != nil || deaf.Load() {
				return
			}
			if _, err := from.Write(buffer[:n]); err != nil {
				return
			}
		}
	}()
	isCommit := append([]byte(fmt.Sprint("w", int(putCommit))), 0) // which a COMMIT of an Update alone is sent with
	buffer := make([]byte, 64<<10)
	for {
		n, err := from.Read(buffer)
		if err != nil {
			return
		}
		if mode := p.cut.Load(); mode != cutNothing && bytes.Contains(buffer[:n], isCommit) && !bytes.Contains(buffer[:n], []byte("INSERT")) {
			p.cut.Store(cutNothing)
			p.times.Add(1)
			p.shut.Store(p.shuts.Load())
			if mode == cutBefore {
				return
			}
			deaf.Store(true)
			_, _ = back.Write(buffer[:n])
			_, _ = io.ReadFull(back, make([]byte, 1)) // it answered: the commit is there
			return
		}
		if _, err := back.Write(buffer[:n]); err != nil {
			return
		}
	}
}

// TestLostAnswers loses the way to the database while it commits: whether it did is found out.
func TestLostAnswers(t *testing.T) {
	to := pgtest.URL(t)
	p := &cutting{}
	e, err := Open(t.Context(), p.through(t, to), Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer e.Close()
	next := uint64(0)
	for range 5 {
		for what, cut := range map[string]int32{"nothing": cutNothing, "before": cutBefore, "after": cutAfter} {
			p.cut.Store(cut)
			ran := 0
			err := e.Update(func(tx store.WriteTx) error {
				ran++
				n, err := tx.Entries()
				return errors.Join(err, tx.PutEntry(n, fmt.Appendf(nil, "%s %d", what, next)))
			})
			if err != nil {
				t.Fatalf("cut %s: %v", what, err)
			}
			if want := map[string]int{"nothing": 1, "before": 2, "after": 1}[what]; ran != want {
				t.Errorf("cut %s: ran %d times, want %d", what, ran, want)
			}
			err = e.View(func(tx store.ReadTx) error {
				n, err := tx.Entries()
				if n != next+1 {
					t.Errorf("cut %s: %d entries, want %d", what, n, next+1)
				}
				entry, err1 := tx.Entry(next)
				if want := fmt.Sprintf("%s %d", what, next); string(entry) != want {
					t.Errorf("entry %q, want %q", entry, want)
				}
				return errors.Join(err, err1)
			})
			if err != nil {
				t.Fatal(err)
			}
			next++
		}
	}
	if p.times.Load() != 10 {
		t.Errorf("cut %d times", p.times.Load())
	}
}

// TestUncertain: where the database does not come back in time, nobody knows; where it was away before, it is
// certain that nothing happened. The engine goes on by itself.
func TestUncertain(t *testing.T) {
	p := &cutting{}
	e, err := Open(t.Context(), p.through(t, pgtest.URL(t)), Options{Patience: 300 * time.Millisecond})
	if err != nil {
		t.Fatal(err)
	}
	defer e.Close()
	for _, c := range []struct {
		cut   int32
		there bool
	}{{cutBefore, false}, {cutAfter, true}} {
		value := fmt.Sprint("value ", c.cut)
		put := func(value string) error {
			return e.Update(func(tx store.WriteTx) error { return tx.PutDocument("k", "", []byte(value)) })
		}
		if err := put("before"); err != nil {
			t.Fatal(err)
		}
		p.shuts.Store(true)
		p.cut.Store(c.cut)
		err = put(value)
		wantLine(t, err, "it may have been written or not")
		if !errors.Is(err, store.ErrUncertain) {
			t.Errorf("update: %v", err)
		}
		if err := put("while it is away"); !errors.Is(err, store.ErrAway) {
			t.Errorf("update while it is away: %v", err)
		}
		if err := e.View(func(store.ReadTx) error { t.Error("fn ran"); return nil }); !errors.Is(err, store.ErrAway) {
			t.Errorf("view while it is away: %v", err)
		}
		p.shuts.Store(false)
		p.shut.Store(false)
		looks := func() error { return e.View(func(store.ReadTx) error { return nil }) }
		for until := time.Now().Add(30 * time.Second); looks() != nil && time.Now().Before(until); {
			time.Sleep(10 * time.Millisecond)
		}
		want := map[bool]string{true: value, false: "before"}[c.there]
		wantDocument(t, e, "k", "", want)
	}
}
