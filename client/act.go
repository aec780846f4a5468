package client

import (
	"context"
	"crypto/rand"
	"encoding/hex"
	"fmt"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/store/claims"
	"witnessmark/store/record"
	"witnessmark/store/signoff"
	"witnessmark/tables/image"
)

// deed is an action on its way, with what goes with it.
type deed struct {
	action   *recordv1.Action
	openings []*recordv1.Opening
	blobs    blobs
	// agree, where it is not nil, is asked once the claims are made, before anything is signed.
	agree func(*recordv1.Action) error
}

// blobs are bytes that go with an action, by their hash.
type blobs map[string]blob

// blob is bytes, and what a person calls them.
type blob struct {
	what  string
	bytes []byte
}

// bring has bytes go with the action, and answers with their hash.
func (d *deed) bring(what string, b []byte) string {
	if d.blobs == nil {
		d.blobs = blobs{}
	}
	sum := HashHex(b)
	d.blobs[sum] = blob{what, b}
	return sum
}

// seal has an opening go with the action; it is nil for no text.
func (d *deed) seal(field, text string) *recordv1.Sealed {
	if text == "" {
		return nil
	}
	o := signoff.NewOpening(field, text, rand.Reader)
	d.openings = append(d.openings, o)
	return &recordv1.Sealed{Commitment: o.GetCommitment()}
}

// done is an action that became an entry, and what was found on the way.
type done struct {
	index uint64
	made  *claims.Made
}

// act makes what the action claims, signs it and has it admitted: it must be allowed by the rules as
// the copy has them before a byte is sent, and be in the ledger, as signed, afterwards. What happened
// in between has it made anew, once.
func (c *Client) act(ctx context.Context, d *deed) (*done, error) {
	unlock, err := c.begin(ctx, d.action)
	if err != nil {
		return nil, err
	}
	defer unlock()
	for tries := 1; ; tries++ {
		got, err := c.try(ctx, d)
		if err == nil || tries == 2 || !isLate(err) {
			return got, err
		}
		if err := c.Sync(ctx); err != nil {
			return nil, err
		}
	}
}

func (c *Client) try(ctx context.Context, d *deed) (*done, error) {
	if err := c.complete(d.action); err != nil {
		return nil, err
	}
	made, err := c.claims.Fill(source{c, ctx, d.blobs}, d.action, d.openings)
	if err != nil {
		return nil, refusal(err)
	}
	if d.agree != nil {
		if err := d.agree(d.action); err != nil {
			return nil, err
		}
	}
	index, err := c.enter(ctx, d, made)
	return &done{index, made}, err
}

// begin has the person's actions follow one another: it catches up, and settles what is pending.
// Before a yes the copy is scanned: what is damaged says nothing.
func (c *Client) begin(ctx context.Context, a *recordv1.Action) (unlock func(), err error) {
	free, err := c.own.home.acting(ctx)
	if err != nil {
		return nil, err
	}
	if err = c.Sync(ctx); err == nil {
		err = c.settlePending(ctx)
	}
	if err == nil && (a.GetSignOff() != nil || a.GetCorridor() != nil || a.GetCollect() != nil || a.GetReadBack() != nil) {
		err = c.mending(ctx, c.own.sound)
	}
	if err != nil {
		free()
	}
	return free, err
}

// mending does something with the copy; where that is damaged it is fetched anew first, and the
// server accused of nothing.
func (c *Client) mending(ctx context.Context, do func() error) error {
	err := do()
	if !isDamage(err) {
		return err
	}
	if err := c.own.setAside(err); err != nil {
		return err
	}
	if err := c.Sync(ctx); err != nil {
		return err
	}
	return do()
}

// complete fills in what every action carries, but for its form: that follows from what it comes to claim.
func (c *Client) complete(a *recordv1.Action) error {
	head, err := c.own.head()
	if err != nil {
		return err
	}
	id := make([]byte, 16)
	if _, err := rand.Read(id); err != nil {
		return err
	}
	a.Form, a.Genesis, a.RequestId, a.Time = 0, c.own.config.Genesis, hex.EncodeToString(id), now()
	a.Seen = &recordv1.Seen{Size: uint32(head.Size), Root: head.Root}
	return c.View(func(s *record.State) (err error) {
		if s.Unapplied() {
			return unknownEntry()
		}
		a.ActsOn, err = s.Target(a)
		return refusal(err)
	})
}

// allowed asks the rules about an action that is complete, without signing it.
func (c *Client) allowed(a *recordv1.Action) error {
	signed := &signoff.Signed{Key: c.Key(), KeyID: signoff.Fingerprint(c.Key()), Action: a, Kind: signoff.Kind(a)}
	return c.View(func(s *record.State) error { return refusal(record.Decide(s, signed)) })
}

// enter signs an action that is complete and has it admitted, with the reports that its claims came with.
func (c *Client) enter(ctx context.Context, d *deed, made *claims.Made) (uint64, error) {
	if err := c.allowed(d.action); err != nil {
		return 0, err
	}
	envelope, err := signoff.Seal(d.action, c.signer)
	if err != nil {
		return 0, fmt.Errorf("cannot sign: %w", err)
	}
	p := &pending{id: d.action.GetRequestId(), envelope: envelope, openings: d.openings, blobs: blobs{}}
	for _, b := range record.Brings(d.action) {
		if have, ok := d.blobs[b.SHA256]; ok {
			p.blobs[b.SHA256] = have
		} else if report, ok := made.Reports[image.Hash(b.SHA256)]; ok {
			p.blobs[b.SHA256] = blob{"report", report}
		}
	}
	if err := c.own.home.put(p); err != nil {
		return 0, err
	}
	return c.deliver(ctx, p)
}
