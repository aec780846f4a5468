package postgres

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"witnessmark/store"
	"witnessmark/store/postgres/pgtest"
	"witnessmark/store/storetest"
)

// history is what several writers and readers were told, on several engines, to be held against what is there in the end.
type history struct {
	t       *testing.T
	engines []*Engine
	stop    context.Context
	halt    context.CancelFunc
	all     sync.WaitGroup

	mu        sync.Mutex
	over      bool // the test failed and ended: what somebody is still told does not matter
	acked     []string
	refused   map[string]bool // certain not to be there
	uncertain int
	shown     map[uint64]string // entries by number
	began     int               // updates, some of which hang
	away      int               // answers that nothing could be had
	unlike    []string          // what was shown as one thing and as another
}

// begin opens two engines on a database and has three writers and a reader on each.
func begin(t *testing.T, url string, unguarded bool) *history {
	h := &history{t: t, refused: map[string]bool{}, shown: map[uint64]string{}}
	h.stop, h.halt = context.WithCancel(t.Context())
	t.Cleanup(func() {
		h.halt()
		h.mu.Lock()
		defer h.mu.Unlock()
		h.over = true
	})
	for range 2 {
		e, err := Open(t.Context(), url, Options{Patience: time.Second})
		if err != nil {
			t.Fatal(err)
		}
		e.unguarded = unguarded
		h.engines = append(h.engines, e)
	}
	var ids atomic.Int64
	for _, e := range h.engines {
		for range 3 {
			h.all.Go(func() { h.again(func() { h.write(e, fmt.Sprint("id ", ids.Add(1))) }) })
		}
		h.all.Go(func() { h.again(func() { h.read(e) }) })
	}
	return h
}

func (h *history) again(fn func()) {
	for h.stop.Err() == nil {
		fn()
	}
}

func (h *history) write(e *Engine, id string) {
	h.mu.Lock()
	h.began++
	h.mu.Unlock()
	err := e.Update(func(tx store.WriteTx) error {
		n, err := tx.Entries()
		return errors.Join(err, tx.PutEntry(n, []byte(id)), tx.PutDocument("id", id, nil))
	})
	h.mu.Lock()
	defer h.mu.Unlock()
	switch {
	case h.over:
		return
	case err == nil:
		h.acked = append(h.acked, id)
	case errors.Is(err, store.ErrUncertain):
		h.uncertain++
	case errors.Is(err, store.ErrAway):
		h.refused[id] = true
		h.away++
		time.Sleep(time.Millisecond)
	default:
		h.t.Errorf("update: %v", err)
	}
	if err != nil && strings.Contains(err.Error(), "\n") {
		h.t.Errorf("not one line: %q", err)
	}
}

// read looks at the newest entries, in a View and in an Update that changes nothing.
func (h *history) read(e *Engine) {
	_ = h.look(e.View)
	_ = h.look(func(fn func(store.ReadTx) error) error {
		return e.Update(func(tx store.WriteTx) error { return fn(tx) })
	})
}

// look sees the newest entries, which counts only without an error.
func (h *history) look(in func(func(store.ReadTx) error) error) error {
	var seen map[uint64]string
	err := in(func(tx store.ReadTx) error {
		seen = map[uint64]string{}
		n, err := tx.Entries()
		for i := n - min(n, 5); i < n && err == nil; i++ {
			var entry []byte
			entry, err = tx.Entry(i)
			seen[i] = string(entry)
		}
		return err
	})
	h.saw(err, seen)
	return err
}

func (h *history) saw(err error, seen map[uint64]string) {
	h.mu.Lock()
	defer h.mu.Unlock()
	switch {
	case h.over:
		return
	case errors.Is(err, store.ErrAway):
		h.away++
		time.Sleep(time.Millisecond)
		return
	case err != nil:
		h.t.Errorf("look: %v", err)
		return
	}
	for i, id := range seen {
		if before, ok := h.shown[i]; ok && before != id {
			h.unlike = append(h.unlike, fmt.Sprintf("entry %d was shown as %q and as %q", i, before, id))
		}
		h.shown[i] = id
	}
}

func (h *history) ends() {
	h.halt()
	h.all.Wait()
	for _, e := range h.engines {
		if err := e.Close(); err != nil {
			h.t.Error(err)
		}
	}
}

// missing is what was acknowledged or shown and is not there, or was shown in two ways.
func (h *history) missing(url string) (missing []string) {
	h.t.Helper()
	e, err := Open(h.t.Context(), url, Options{})
	if err != nil {
		h.t.Fatal(err)
	}
	defer e.Close()
	there, times := []string{}, map[string]int{}
	err = e.View(func(tx store.ReadTx) error {
		n, err := tx.Entries()
		for i := uint64(0); i < n && err == nil; i++ {
			var entry []byte
			entry, err = tx.Entry(i)
			there = append(there, string(entry))
			times[string(entry)]++
		}
		return errors.Join(err, store.CheckSum(tx))
	})
	if err != nil {
		h.t.Fatal(err)
	}
	for id, n := range times {
		if n > 1 || h.refused[id] {
			h.t.Errorf("%s is there %d times; refused: %v", id, n, h.refused[id])
		}
	}
	for _, id := range h.acked {
		if times[id] == 0 {
			missing = append(missing, id+" was acknowledged")
		}
	}
	for i, id := range h.shown {
		if i >= uint64(len(there)) || there[i] != id {
			missing = append(missing, fmt.Sprintf("%s was shown as entry %d", id, i))
		}
	}
	h.t.Logf("%d updates: %d acknowledged, %d uncertain, %d refused; %d entries, of which %d were shown; %d answers of being away",
		h.began, len(h.acked), h.uncertain, len(h.refused), len(there), len(h.shown), h.away)
	return append(missing, h.unlike...)
}

func (h *history) count() (acked, shown int) {
	h.mu.Lock()
	defer h.mu.Unlock()
	return len(h.acked), len(h.shown)
}

// goesOn waits until more is acknowledged.
func (h *history) goesOn() {
	h.t.Helper()
	before, _ := h.count()
	for until := time.Now().Add(time.Minute); time.Now().Before(until); time.Sleep(10 * time.Millisecond) {
		if now, _ := h.count(); now >= before+10 {
			return
		}
	}
	h.t.Fatal("nothing is acknowledged any more")
}

// looksUnconfirmed looks at a primary that no standby follows: everything is shown, or with the guard nothing.
func (h *history) looksUnconfirmed(e *Engine, unguarded bool) {
	h.t.Helper()
	const unconfirmed = "it does not confirm what it shows"
	var err error
	for until := time.Now().Add(time.Minute); time.Now().Before(until); time.Sleep(10 * time.Millisecond) {
		err = h.look(e.View)
		if err == nil && unguarded || err != nil && strings.Contains(err.Error(), unconfirmed) {
			return
		}
		if err == nil {
			break
		}
	}
	h.t.Errorf("unguarded %v: a look that nothing confirms ended with %v", unguarded, err)
}

// TestKilledAndRestarted kills the database under load, again and again.
func TestKilledAndRestarted(t *testing.T) {
	c, url := pgtest.Shared(t)
	h := begin(t, url, false)
	storetest.During(t, 0, func() {
		for range 2 {
			h.goesOn()
			c.Restart(t)
		}
		h.goesOn()
	})
	h.ends()
	if missing := h.missing(url); len(missing) > 0 {
		t.Errorf("%q", missing)
	}
}

// TestStandbyTakesOver kills the primary under load and has its synchronous standby take over.
func TestStandbyTakesOver(t *testing.T) {
	storetest.During(t, 0, func() {
		primary := pgtest.Start(t)
		standby := primary.Standby(t)
		h := begin(t, primary.Or(standby), false)
		h.goesOn()
		primary.Kill()
		standby.Promote(t)
		h.goesOn()
		h.ends()
		if missing := h.missing(standby.URL()); len(missing) > 0 {
			t.Errorf("%q", missing)
		}
	})
}

// TestCancelledWaits has commits go on without their standby, which is away: their waits are cancelled, then the
// primary starts again. Afterwards the standby takes over.
// What it then lacks nobody was told of; with the guard out, the same test finds what is lost.
func TestCancelledWaits(t *testing.T) {
	for _, unguarded := range []bool{false, true} {
		t.Run(map[bool]string{false: "guarded", true: "control"}[unguarded], func(t *testing.T) {
			primary := pgtest.Start(t)
			standby := primary.Standby(t)
			h := begin(t, primary.Or(standby), unguarded)
			h.goesOn()
			standby.Kill()
			cancelled := 0
			for until := time.Now().Add(storetest.Long(t, 0)); time.Now().Before(until) || cancelled < 20; time.Sleep(20 * time.Millisecond) {
				n := 0
				_, _ = fmt.Sscan(primary.CancelWaits(t), &n)
				cancelled += n
			}
			t.Logf("%d waits were cancelled", cancelled)
			// What waits for the standby now is there when the primary is again, and was acknowledged to nobody.
			primary.Restart(t)
			for _, e := range h.engines {
				h.looksUnconfirmed(e, unguarded)
			}
			primary.Kill()
			standby.Start(t)
			standby.Promote(t)
			if !unguarded {
				h.goesOn()
			}
			h.ends()
			switch missing := h.missing(standby.URL()); {
			case len(missing) > 0 && !unguarded:
				t.Errorf("%q", missing)
			case len(missing) == 0 && unguarded:
				t.Error("without the guard nothing is lost: the test shows nothing")
			}
		})
	}
}
