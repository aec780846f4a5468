package client

import (
	"context"
	"time"

	"google.golang.org/grpc"

	servicev1 "witnessmark/proto/witnessmark/service/v1"
)

// Watch brings the copy up to date whenever the ledger has grown, and then calls changed. It ends
// with the context, when no server answers, or with the first thing that is not to be trusted: whoever
// watches decides whether to watch again.
func (c *Client) Watch(ctx context.Context, changed func()) error {
	last := c.Head().Size
	look := func(ctx context.Context) error {
		if err := c.Sync(ctx); err != nil {
			return err
		}
		// Compared with what this watcher told of last: another call may have synced meanwhile.
		if now := c.Head().Size; now != last {
			last = now
			changed()
		}
		return nil
	}
	for {
		began := time.Now()
		err := c.link.call(ctx, func(p *patient, from grpc.ClientConnInterface) error {
			p.endless()
			stream, err := servicev1.NewRecordClient(from).Watch(p, &servicev1.WatchRequest{})
			// What is sent is only a reason to look: Sync asks for the checkpoint and verifies it.
			for err == nil {
				if _, err = stream.Recv(); err == nil {
					err = look(p)
				}
			}
			return err
		})
		if ctx.Err() != nil || KindOf(err) != Away {
			return err
		}
		// Those that broke off may be back.
		if err := look(ctx); err != nil {
			return err
		}
		select {
		case <-ctx.Done():
		case <-time.After(time.Second - time.Since(began)):
		}
	}
}

// Follow watches for as long as the context lasts. It calls changed at once, whenever the ledger has grown, and
// when nothing came for a while, since what is due goes by the clock. A server that cannot be reached is asked
// again; lost is told why, once, and found when it answers again. Anything else ends it.
func (c *Client) Follow(ctx context.Context, changed func() error, lost func(error), found func()) error {
	grown := make(chan struct{}, 1)
	tell := func() {
		select {
		case grown <- struct{}{}:
		default:
		}
	}
	ended := make(chan error, 1)
	ctx, stop := context.WithCancel(ctx)
	defer func() { stop(); <-ended }()
	go func() { ended <- c.watchOn(ctx, tell, lost, found) }()
	for tell(); ; {
		select {
		case <-ctx.Done():
			return nil
		case err := <-ended:
			ended <- err
			return err
		case <-time.After(lookAgain):
		case <-grown:
		}
		if err := changed(); err != nil {
			return err
		}
	}
}

const lookAgain = time.Minute

// watchOn watches again whenever the server was away.
func (c *Client) watchOn(ctx context.Context, changed func(), lost func(error), found func()) error {
	away := false
	for wait := time.Second; ; wait = min(2*wait, 30*time.Second) {
		err := c.Sync(ctx)
		if err == nil {
			if away {
				away = false
				found()
			}
			wait = time.Second
			changed()
			err = c.Watch(ctx, changed)
		}
		switch {
		case ctx.Err() != nil:
			return nil
		case KindOf(err) != Away:
			return err
		case !away:
			away = true
			lost(err)
		}
		select {
		case <-ctx.Done():
			return nil
		case <-time.After(wait):
		}
	}
}
