package client

import (
	"google.golang.org/protobuf/proto"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/tables/limits"
)

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

// Limits are the limits that the report was made with.
func (r *Review) Limits() *limits.Limits { return r.rules.Limit }

// SignOff is what the statement says, as a copy.
func (d *Draft) SignOff() *recordv1.SignOff { return proto.CloneOf(d.action.GetSignOff()) }
