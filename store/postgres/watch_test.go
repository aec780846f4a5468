package postgres

import (
	"context"
	"errors"
	"fmt"
	"testing"
	"time"

	"witnessmark/store"
	"witnessmark/store/postgres/pgtest"
)

func enter(t *testing.T, e *Engine) {
	t.Helper()
	err := e.Update(func(tx store.WriteTx) error {
		n, err := tx.Entries()
		return errors.Join(err, tx.PutEntry(n, fmt.Append(nil, "entry ", n)))
	})
	if err != nil {
		t.Fatal(err)
	}
}

// TestWatch is told of another engine's entries, also of those of while the database was away.
func TestWatch(t *testing.T) {
	c, url := pgtest.Shared(t)
	watching, writing := open(t, url, Options{}), open(t, url, Options{})
	ctx, cancel := context.WithCancel(t.Context())
	sizes, ended := make(chan uint64, 100), make(chan error, 1)
	go func() { ended <- watching.Watch(ctx, func(size uint64) { sizes <- size }) }()
	want := func(size uint64) {
		t.Helper()
		for {
			select {
			case got := <-sizes:
				if got == size {
					return
				}
			case <-time.After(30 * time.Second):
				t.Fatalf("never told of %d", size)
			}
		}
	}
	want(0)
	enter(t, writing)
	want(1)
	enter(t, writing)
	want(2)
	c.Restart(t)
	enter(t, writing)
	want(3)
	put(t, writing, "job", "7", "no entry")
	enter(t, writing)
	want(4)
	cancel()
	if err := <-ended; !errors.Is(err, context.Canceled) {
		t.Errorf("ended with %v", err)
	}
	if len(sizes) > 0 {
		t.Errorf("told again of %d", <-sizes)
	}
}
