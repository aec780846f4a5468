package client

import (
	"context"
	"errors"
	"io"
	"sync"
	"testing"
	"time"
)

// Several commands of one person at once: each is admitted, and the mirror is whole afterwards.
func TestCommandsAtOnce(t *testing.T) {
	w := newWorld(t)
	var all sync.WaitGroup
	fail := make(chan error, 12)
	for range 3 {
		c, err := Open(w.tech.home, nil)
		w.must(nil, err)
		defer c.Close()
		all.Go(func() {
			for range 4 {
				_, err := c.OpenJob(ctx, NewJob{Car: "C3", Definition: "bench", Limits: "bench-98"})
				fail <- err
			}
		})
	}
	all.Wait()
	close(fail)
	for err := range fail {
		w.must(nil, err)
	}
	w.must(nil, w.tech.Sync(ctx))
	if n := len(w.tech.Jobs()); n != 13 {
		t.Errorf("%d jobs", n)
	}
	if _, err := w.tech.VerifyLedger(ctx); err != nil {
		t.Error(err)
	}
}

// Entries after one of an unknown kind were kept and not judged: a version that knows it judges them
// before it trusts them, and finds what should not be there.
func TestUnjudgedEntriesAreJudgedLater(t *testing.T) {
	w := newWorld(t)
	intruder(w)
	entries := w.fake.entries
	n := uint64(len(entries))
	if _, judged, err := grow(entries, n); err != nil || judged != n {
		t.Errorf("%d, %v", judged, err)
	}
	_, _, err := grow(entries, n-1)
	w.refusedAs(err, Distrust, "no such key")
	// And with the unknown kind itself, judging stops there.
	w = newWorld(t)
	w.submit("\x0a\x0b\x0c\x0e")
	unknownKind(w)
	state, judged, err := grow(w.fake.entries, 0)
	if err != nil || !state.Unknown || judged != uint64(len(w.fake.entries))-1 {
		t.Errorf("%v, %d judged of %d", err, judged, len(w.fake.entries))
	}
}

func TestWatch(t *testing.T) {
	w := newWorld(t)
	w.must(nil, w.tech.Sync(ctx))
	watching, stop := context.WithTimeout(ctx, 20*time.Second)
	defer stop()
	seen := make(chan int, 8)
	ended := make(chan error, 1)
	go func() { ended <- w.tech.Watch(watching, func() { seen <- len(w.tech.People()) }) }()
	w.newKey("more")
	w.must(w.lead.Enrol(ctx, "more", []string{"technician"}, w.path("more.pub")))
	select {
	case n := <-seen:
		if n != 4 {
			t.Errorf("%d people", n)
		}
	case err := <-ended:
		t.Fatal(err)
	}
	w.fake.tell(upTo(1))
	w.refusedAs(<-ended, Distrust, "older ledger")
	w.fake.tell(lie{})
	stop()
	if err := w.tech.Watch(watching, func() {}); !errors.Is(err, context.Canceled) && !errors.Is(err, io.EOF) {
		t.Error(err)
	}
}
