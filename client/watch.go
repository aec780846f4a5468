package client

import (
	"context"

	servicev1 "witnessmark/proto/witnessmark/service/v1"
)

// Watch brings the copy up to date whenever the ledger has grown, and then calls changed. It ends
// with the context, with the connection, or with the first thing that is not to be trusted: whoever
// watches decides whether to watch again.
func (c *Client) Watch(ctx context.Context, changed func()) error {
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	stream, err := c.record.Watch(ctx, &servicev1.WatchRequest{})
	if err != nil {
		return c.link.fault(err)
	}
	last := c.Head().Size
	for {
		// What is sent is only a reason to look: Sync asks for the checkpoint and verifies it.
		if _, err := stream.Recv(); err != nil {
			return c.link.fault(err)
		}
		if err := c.Sync(ctx); err != nil {
			return err
		}
		// Compared with what this watcher told of last: another call may have synced meanwhile.
		if now := c.Head().Size; now != last {
			last = now
			changed()
		}
	}
}
