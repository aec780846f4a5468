package postgres

import (
	"context"
	"time"

	"witnessmark/store"
)

// watchEvery is how often Watch looks without having been told.
const watchEvery = 5 * time.Second

// Watch calls fn with the number of entries, as a View sees it: at once, and whenever it is another one than
// fn was told, also when others wrote; it looks every 5 seconds besides, and goes on through the
// database's absences. It returns when ctx ends, with its error, or store.ErrClosed.
func (e *Engine) Watch(ctx context.Context, fn func(size uint64)) error {
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	told, listening := make(chan struct{}, 1), make(chan struct{})
	go func() { defer close(listening); e.listen(ctx, told) }()
	defer func() { cancel(); <-listening }()
	tick := time.NewTicker(watchEvery)
	defer tick.Stop()
	last, first := uint64(0), true
	for {
		var size uint64
		err := e.View(func(tx store.ReadTx) (err error) { size, err = tx.Entries(); return err })
		switch {
		case e.closing.Load():
			return store.ErrClosed
		case err == nil && (first || size != last):
			first, last = false, size
			fn(size)
		}
		select {
		case <-told:
		case <-tick.C:
		case <-ctx.Done():
			return ctx.Err()
		}
	}
}

// listen signals whenever the database told of a new size, or may have while nobody listened.
func (e *Engine) listen(ctx context.Context, told chan<- struct{}) {
	signal := func() {
		select {
		case told <- struct{}{}:
		default:
		}
	}
	const shortest, longest = 50 * time.Millisecond, 2 * time.Second
	for wait := shortest; ctx.Err() == nil; {
		if c, err := e.dial(ctx); err == nil {
			if _, err = c.text(ctx, "LISTEN witnessmark"); err == nil {
				wait = shortest
				for signal(); c.pg.WaitForNotification(ctx) == nil; {
					signal()
				}
			}
			c.close()
		}
		select {
		case <-time.After(wait):
		case <-ctx.Done():
		}
		wait = min(2*wait, longest)
	}
}
