package client

import (
	"context"

	servicev1 "witnessmark/proto/witnessmark/service/v1"
)

// Watch calls grown after each time that the ledger has grown and was verified, until ctx ends or
// the server's stream does. A ledger that does not verify ends it with that error.
func (c *Client) Watch(ctx context.Context, grown func(Head)) error {
	stream, err := c.ledger.Watch(ctx, &servicev1.WatchRequest{})
	if err != nil {
		return c.link.fault(err)
	}
	last := c.Head().Size
	for {
		// The note only says that there is something: Sync fetches and judges it.
		if _, err := stream.Recv(); err != nil {
			return c.link.fault(err)
		}
		if err := c.Sync(ctx); err != nil {
			return err
		}
		if head := c.Head(); head.Size != last {
			last = head.Size
			grown(head)
		}
	}
}

// Head is the checkpoint that was verified last.
func (c *Client) Head() Head {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.head
}

// OnePerson says whether the genesis lets authors sign their own.
func (c *Client) OnePerson() bool { return c.view().Genesis.GetOnePerson() }

// HasVehicleField says whether a layout has an identity field that belongs to one car, so that
// collecting needs a fresh read or the frame number.
func (r *Review) HasVehicleField() bool { return hasVehicle(r.rules.Layout) }
