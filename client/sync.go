package client

import (
	"cmp"
	"context"
	"encoding/hex"
	"errors"
	"fmt"
	"io"

	"google.golang.org/grpc"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
	servicev1 "witnessmark/proto/witnessmark/service/v1"
	"witnessmark/store/ledger"
)

// gathered is how many entries are fetched before they are judged.
const gathered = 1024

// Sync brings the copy up to the server's newest checkpoint and judges every new entry. The head
// advances only if the checkpoint is signed by the server's key, is no older than the last one,
// has the root of the entries, and each entry is one that the rules admit. Where the server cannot
// be reached the error is of the kind Away.
func (c *Client) Sync(ctx context.Context) error {
	err := c.catchUp(ctx)
	if addr := c.link.refused(err); addr != "" {
		err = cmp.Or(c.begunAnew(ctx, addr), err)
	}
	if err != nil && ctx.Err() == nil && KindOf(err) != Away {
		var again bool
		if again, err = c.blame(err); again {
			err = c.catchUp(ctx)
			if err != nil && KindOf(err) != Away {
				_, err = c.blame(err)
			}
		}
	}
	c.reached.Store(err == nil)
	return err
}

// Look is Sync for whoever only wants to see: a server that is away is no error. AsOf says how it went.
func (c *Client) Look(ctx context.Context) error {
	if err := c.Sync(ctx); KindOf(err) != Away {
		return err
	}
	return nil
}

// blame finds out whose fault a failed catching up is. A copy that is damaged is set aside, and
// worth another try; only what a whole copy contradicts is the server's doing, and then nothing of
// what came since the kept head stays.
func (c *Client) blame(cause error) (again bool, err error) {
	head, err := c.own.head()
	if err != nil {
		return false, err
	}
	part := c.own.home.path(partFile)
	if !FileExists(c.own.home.path(copyFile)) {
		// Fetched from nothing, it stands for nothing until it is whole.
		if isDamage(cause) || KindOf(cause) == Distrust {
			err = c.own.discard(part)
		}
		return isDamage(cause) && err == nil, errors.Join(cause, err)
	}
	damaged := cause
	if !isDamage(cause) {
		damaged = c.own.whole(head)
	}
	switch {
	case isDamage(damaged):
		err := c.own.setAside(damaged)
		return err == nil, err
	case damaged != nil:
		return false, errors.Join(cause, damaged)
	case KindOf(cause) == Distrust:
		return false, errors.Join(cause, c.own.discardBeyond(head))
	}
	return false, cause
}

// target is the checkpoint to catch up with, and the head that was kept before it was asked for.
type target struct {
	ledger.Checkpoint
	note []byte
	kept Head
}

func (c *Client) catchUp(ctx context.Context) error {
	kept, err := c.own.head()
	if err != nil {
		return err
	}
	var last uint64
	for {
		t, err := c.newest(ctx, kept)
		if err != nil {
			return err
		}
		// Texts may be lacking because they were erased since: then the ledger has grown by that.
		err = c.fetch(ctx, t)
		if !errors.Is(err, errLacking) {
			return err
		}
		if t.Size == last {
			return distrust("the server keeps back texts that were sealed in the ledger and never erased")
		}
		last = t.Size
	}
}

// newest asks for the server's checkpoint, and holds it to the kept head.
func (c *Client) newest(ctx context.Context, kept Head) (target, error) {
	var r *servicev1.HeadResponse
	err := c.link.call(ctx, func(p *patient, of grpc.ClientConnInterface) (err error) {
		p.brief()
		r, err = servicev1.NewRecordClient(of).Head(p, &servicev1.HeadRequest{})
		return err
	})
	if err != nil {
		return target{}, err
	}
	cp, err := c.own.open(r.GetCheckpoint())
	switch {
	case err != nil:
		return target{}, distrust("the server's checkpoint does not verify: %v", err)
	case cp.Size < max(kept.Size, 1):
		return target{}, &Error{Kind: Distrust, Text: fmt.Sprintf("the server shows an older ledger: %d entries, and you have seen %d", cp.Size, kept.Size),
			Try: "write nothing to a car, and show the lead your witnessmark ledger head: a newer backup is to be restored, or the ledger begun anew (witnessmarkd recover)"}
	case cp.Size == kept.Size && hex.EncodeToString(cp.Root[:]) != kept.Root:
		return target{}, distrust("the server shows another ledger than before: two roots for %d entries", cp.Size)
	}
	return target{cp, r.GetCheckpoint(), kept}, nil
}

// fetch gets the entries that the copy lacks, and takes them in.
func (c *Client) fetch(ctx context.Context, t target) error {
	for {
		err := c.link.call(ctx, func(p *patient, from grpc.ClientConnInterface) error {
			next, done, err := c.own.take(t, 0, nil)
			if done || err != nil {
				return err
			}
			stream, err := servicev1.NewRecordClient(from).Entries(p, &servicev1.EntriesRequest{First: next, End: t.Size})
			if err != nil {
				return err
			}
			return c.takeAll(t, next, func() (*servicev1.EntriesResponse, error) { p.moved(); return stream.Recv() })
		})
		if !errors.Is(err, errMoved) {
			return err
		}
	}
}

// takeAll takes in the entries from first on as they come.
func (c *Client) takeAll(t target, first uint64, recv func() (*servicev1.EntriesResponse, error)) error {
	var told []*recordv1.Told
	for {
		for end := first + uint64(len(told)); end < t.Size && len(told) < gathered; end = first + uint64(len(told)) {
			m, err := recv()
			if errors.Is(err, io.EOF) {
				return distrust("the server has a checkpoint of %d entries and does not show entry %d", t.Size, end)
			}
			if err != nil {
				return err
			}
			if m.GetFirst() != end || len(m.GetEntries()) == 0 || uint64(len(m.GetEntries())) > t.Size-end {
				return distrust("the server shows other entries than it was asked for, which were %d to %d", end, t.Size)
			}
			told = append(told, m.GetEntries()...)
		}
		next, done, err := c.own.take(t, first, told)
		if done || err != nil {
			return err
		}
		told = told[min(next-first, uint64(len(told))):]
		first = next
	}
}

// discard removes a copy that stands for nothing.
func (o *ownCopy) discard(path string) error {
	unlock, err := o.home.lock(stepLock)
	if err != nil {
		return err
	}
	defer unlock()
	return removed(path)
}
