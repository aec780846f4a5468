package server

import (
	"context"
	"errors"
	"runtime"
	"strconv"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"pgregory.net/rapid"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/store/record"
	"witnessmark/store/signoff"
)

// TestRoom: whatever is taken and given back, by whomever, nobody has more than one may, nor all more than
// there is, and what is refused is what would have been too much. Rapid prints what replays a failure.
func TestRoom(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		r := newRoom(share{one: 10, all: 25})
		type held struct {
			who string
			n   int64
		}
		var has []held
		sum := func(who string) (n int64) {
			for _, h := range has {
				if who == "" || h.who == who {
					n += h.n
				}
			}
			return n
		}
		t.Repeat(map[string]func(*rapid.T){
			"take": func(t *rapid.T) {
				h := held{rapid.SampledFrom([]string{"a", "b", "c", "d"}).Draw(t, "who"), rapid.Int64Range(1, 12).Draw(t, "n")}
				fits := sum(h.who)+h.n <= 10 && sum("")+h.n <= 25
				if got := r.take(h.who, h.n); got != fits {
					t.Fatalf("%s takes %d: %t, with %d and %d held", h.who, h.n, got, sum(h.who), sum(""))
				}
				if fits {
					has = append(has, h)
				}
			},
			"give": func(t *rapid.T) {
				if len(has) > 0 {
					r.give(has[0].who, has[0].n)
					has = has[1:]
				}
			},
			"": func(t *rapid.T) {
				if r.total() != sum("") {
					t.Fatalf("%d is held, want %d", r.total(), sum(""))
				}
				for who := range r.by {
					if sum(who) == 0 {
						t.Fatalf("%s is remembered and holds nothing", who)
					}
				}
			},
		})
	})
}

// TestUsualBounds: no one has all of anything, an honest blob fits, and takes what a slow line needs.
func TestUsualBounds(t *testing.T) {
	b := usualBounds()
	for what, s := range map[string]share{"handshakes": b.handshakes, "connections": b.connections, "former": b.former,
		"calls": b.calls, "spooled": b.spooled, "sending": b.sending} {
		if s.one < 1 || s.one*4 > s.all {
			t.Errorf("%s: one may have %d of %d", what, s.one, s.all)
		}
	}
	if b.spooled.one < maxBlob || b.sending.one < maxBlob {
		t.Error("a blob does not fit")
	}
	if got, want := b.patience(maxBlob), 10*time.Second+4096*time.Second; got != want {
		t.Errorf("64 MiB may take %s, want %s", got, want)
	}
}

// TestPace: at once as many as the burst, then one after the other, never a long wait; who comes too often is
// refused, and whoever did nothing for a while may begin anew.
func TestPace(t *testing.T) {
	p := newPace(beat{second: 10, burst: 5})
	now := time.Now()
	turn := func(who string, want time.Duration, may bool) {
		t.Helper()
		if got, ok := p.turn(who, now); ok != may || got != want {
			t.Fatalf("%s waits %s, %t; want %s, %t", who, got, ok, want, may)
		}
	}
	for range 6 {
		turn("a", 0, true)
	}
	for i := range 10 {
		turn("a", time.Duration(i+1)*100*time.Millisecond, true)
	}
	for range 3 {
		turn("a", 0, false)
	}
	turn("b", 0, true)
	now = now.Add(500 * time.Millisecond)
	turn("a", 600*time.Millisecond, true)
	now = now.Add(time.Hour)
	for range 6 {
		turn("a", 0, true)
	}
	for i := range 20_000 {
		p.turn(strconv.Itoa(i), now.Add(time.Duration(i)*time.Millisecond))
	}
	if len(p.next) > 10_001 {
		t.Errorf("%d are remembered", len(p.next))
	}
}

// TestLanes: one works at a time for each, others are not in the way, who gives up waiting goes, and nobody is
// remembered afterwards.
func TestLanes(t *testing.T) {
	l := &lanes{by: map[string]*lane{}}
	leave, err := l.enter(context.Background(), "a")
	if err != nil {
		t.Fatal(err)
	}
	if other, err := l.enter(context.Background(), "b"); err != nil {
		t.Fatal(err)
	} else {
		other()
	}
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	if _, err := l.enter(ctx, "a"); !errors.Is(err, context.Canceled) {
		t.Errorf("a second of the same: %v", err)
	}
	next := make(chan func())
	go func() {
		second, _ := l.enter(context.Background(), "a")
		next <- second
	}()
	leave()
	(<-next)()
	if len(l.by) != 0 {
		t.Errorf("%d are remembered", len(l.by))
	}
	var working, most atomic.Int32
	var wg sync.WaitGroup
	for range 20 {
		wg.Go(func() {
			leave, err := l.enter(context.Background(), "c")
			if err != nil {
				t.Error(err)
				return
			}
			defer leave()
			if n := working.Add(1); n > most.Load() {
				most.Store(n)
			}
			runtime.Gosched()
			working.Add(-1)
		})
	}
	wg.Wait()
	if most.Load() != 1 {
		t.Errorf("%d at once", most.Load())
	}
}

// TestLargeInTurn: of one caller's large actions one is opened at a time; their small ones, and others' large ones, do
// not wait for it.
func TestLargeInTurn(t *testing.T) {
	w := newWorkshop(t)
	w.enrol("second lead", "lead")
	large := &recordv1.OpenCorridor{Job: 1, Tables: make([]*recordv1.CorridorTable, inTurn/3)}
	for i := range large.Tables {
		large.Tables[i] = &recordv1.CorridorTable{}
	}
	action := &recordv1.Action{Body: &recordv1.Action_Corridor{Corridor: large}}
	leave, err := w.srv.core.lanes.enter(within(t), string(signoff.Fingerprint(publicOf(w.keys["lead"]))))
	if err != nil {
		t.Fatal(err)
	}
	wantFault(t, w.try("second lead", action), codes.NotFound, record.ReasonNotFound)
	wantFault(t, w.try("lead", &recordv1.Action{Body: &recordv1.Action_Corridor{Corridor: &recordv1.OpenCorridor{Job: 1}}}), codes.NotFound, record.ReasonNotFound)
	ctx, cancel := context.WithTimeout(within(t), 100*time.Millisecond)
	defer cancel()
	b, err := tryBegin(ctx, w.as("lead"))
	if err != nil {
		t.Fatal(err)
	}
	b.action(w.seal("lead", w.carry(action)))
	if _, err := b.Recv(); status.Code(err) != codes.DeadlineExceeded {
		t.Errorf("beside another: %v, want to wait", err)
	}
	leave()
	wantFault(t, w.try("lead", action), codes.NotFound, record.ReasonNotFound)
	w.quiet()
}
