package server

import (
	"context"
	"errors"
	"time"

	"google.golang.org/grpc/codes"

	"witnessmark/store"
	"witnessmark/store/record"
)

// How often a server asks whether others added to the ledger, besides being told; and how often it asks a store
// that could not be reached.
const (
	askOthers = 5 * time.Second
	askAgain  = time.Second
	// leftUndone is when an erasure is no longer waited for that another server began, and how often it is looked for.
	leftUndone = time.Minute
)

// head is the newest checkpoint that is shown and its size, and a channel that is closed when that may have changed.
func (c *core) head() (note []byte, size uint64, changed <-chan struct{}) {
	c.mu.RLock()
	defer c.mu.RUnlock()
	return c.checkpoint, c.size, c.changed
}

// newest is head once it was asked whether others added to the ledger: whoever was told of theirs must find it here.
func (c *core) newest() (note []byte, size uint64, changed <-chan struct{}, err error) {
	err = c.refresh()
	note, size, changed = c.head()
	return note, size, changed, err
}

// refresh shows what others added, where there can be any.
func (c *core) refresh() error {
	if !c.home.shared() {
		return nil
	}
	var note []byte
	var size uint64
	c.mu.RLock()
	known, unlooked := c.size, c.looked < c.shows
	c.mu.RUnlock()
	err := c.look(func(s *record.State) (err error) {
		if size = s.Size(); size > known {
			note, err = sign(s, c.home.key)
		}
		return err
	})
	c.reached(err)
	if err == nil && (note != nil || unlooked) {
		c.show(note, size)
	}
	return err
}

// show tells readers of a head, unless a newer one is shown already, and ends the streams of people who are no
// longer enrolled.
func (c *core) show(note []byte, size uint64) {
	c.mu.Lock()
	if size > c.size {
		c.checkpoint, c.size = note, size
		c.signal()
	}
	var open []*openStream
	for o := range c.streams {
		open = append(open, o)
	}
	c.shows++
	show := c.shows
	c.mu.Unlock()
	if c.endStreams(open) == nil {
		c.mu.Lock()
		c.looked = max(c.looked, show)
		c.mu.Unlock()
	}
}

func (c *core) signal() {
	close(c.changed)
	c.changed = make(chan struct{})
}

// shown waits until a kept checkpoint covers an entry.
func (c *core) shown(ctx context.Context, index uint64) error {
	if _, size, _ := c.head(); size <= index {
		if err := c.refresh(); err != nil {
			return err
		}
	}
	for {
		_, size, changed := c.head()
		if size > index {
			return nil
		}
		if err := c.isBroken(); err != nil {
			return err
		}
		select {
		case <-changed:
		case <-c.stop:
			return stopping()
		case <-ctx.Done():
			return context.Cause(ctx)
		}
	}
}

// understands refuses what a newer program made of a ledger that it shares: beside it this one must neither read nor
// write.
func (h *home) understands(s *record.State) error {
	if h.shared() && s.Newer() {
		return &fault{code: codes.Unavailable, reason: "upgrade", text: newerServes}
	}
	return nil
}

// isAway says whether an error is that the store cannot be reached.
func isAway(err error) bool {
	return errors.Is(err, store.ErrAway) || errors.Is(err, store.ErrUncertain)
}

// reached notes that the store was reached, or with an error that it was not: then nothing can be admitted.
func (c *core) reached(err error) {
	away := err != nil
	c.mu.Lock()
	defer c.mu.Unlock()
	switch {
	case away == c.away || c.broken != nil:
		return
	case away:
		c.log.Error("nothing can be admitted, and the store is asked again", loggable(err))
	default:
		c.log.Info("actions can be admitted again")
	}
	c.away = away
	c.onServing(!away)
}

// follow shows what others add to the ledger soon after they did, and says so where the store cannot be reached.
// What somebody else left undone is done beside that, since it may wait for long.
func (c *core) follow() {
	ctx, cancel := context.WithCancel(context.Background())
	told := make(chan struct{}, 1)
	c.following.Go(func() {
		c.home.watch(ctx, func(size uint64) {
			if _, shown, _ := c.head(); size <= shown {
				return // it is this server's own, as a rule
			}
			select {
			case told <- struct{}{}:
			default:
			}
		})
	})
	c.following.Go(func() {
		defer cancel()
		for wait := askOthers; ; {
			select {
			case <-told:
			case <-time.After(wait):
			case <-c.stop:
				return
			}
			wait = askOthers
			if c.refresh() != nil {
				wait = askAgain
			}
		}
	})
	c.following.Go(func() {
		for {
			select {
			case <-time.After(leftUndone):
			case <-c.stop:
				return
			}
			if err := c.home.finishErasing(leftUndone); err != nil {
				c.log.Error("what was erased may still be in the database's files", loggable(err))
			}
		}
	})
}
