package client

import (
	"context"
	"errors"
	"fmt"
	"path/filepath"

	"golang.org/x/mod/sumdb/tlog"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/store"
	"witnessmark/store/bolt"
	"witnessmark/store/claims"
	"witnessmark/store/held"
	"witnessmark/store/ledger"
	"witnessmark/store/record"
)

// VerifyLedger catches up, mends the copy where it is damaged, and judges every entry from the genesis
// on again, into documents of their own that must come to the same. Deep also makes every claim
// about bytes again, as far as they were not erased.
func (c *Client) VerifyLedger(ctx context.Context, deep bool) (head Head, err error) {
	if err := c.Sync(ctx); err != nil {
		return Head{}, err
	}
	err = c.mending(ctx, func() (err error) {
		if err = c.own.sound(); err == nil {
			head, err = c.verifyCopy(ctx, deep)
		}
		return err
	})
	return head, err
}

func (c *Client) verifyCopy(ctx context.Context, deep bool) (head Head, err error) {
	if head, err = c.own.head(); err != nil {
		return Head{}, err
	}
	defer Unfinished()()
	dir, done, err := held.Folder(c.own.home.Dir, "verify-*")
	if err != nil {
		return Head{}, err
	}
	defer func() { err = errors.Join(err, done()) }()
	e, err := bolt.CreateWith(filepath.Join(dir, copyFile), bolt.Options{})
	if err != nil {
		return Head{}, err
	}
	defer func() { err = errors.Join(err, e.Close()) }()
	r := &replay{source: source{c: c, ctx: ctx}, head: head}
	if deep {
		err = c.View(func(s *record.State) error { r.past = claims.LookBack(r, s); return nil })
	}
	for next := uint64(0); err == nil && next < head.Size; {
		if err = ctx.Err(); err == nil {
			next, err = r.admit(e, next)
		}
	}
	return head, err
}

// replay admits the entries of the copy once more, up to a head. It is what their claims are made again
// from: the documents as they were before an entry.
type replay struct {
	source
	head Head
	past *claims.Past // nil where no claims are made again
	s    *record.State
}

func (r *replay) View(fn func(*record.State) error) error { return fn(r.s) }

// admit admits the next entries.
func (r *replay) admit(e *bolt.Engine, next uint64) (end uint64, err error) {
	var told []*recordv1.Told
	end = min(next+gathered, r.head.Size)
	err = r.c.own.view(func(tx store.ReadTx) error {
		for i := next; i < end; i++ {
			t, err := record.Told(tx, i)
			if err != nil {
				return fmt.Errorf("entry %d: %w", i, err)
			}
			// What the disk changed since is no server's doing.
			if leaf, err := tx.Hash(tlog.StoredHashIndex(0, int64(i))); err != nil || leaf != tlog.RecordHash(t.GetEntry()) {
				return fmt.Errorf("entry %d is not the one whose hash is kept: %w", i, store.ErrDamaged)
			}
			told = append(told, t)
		}
		return nil
	})
	if err != nil {
		return 0, err
	}
	return end, e.Update(func(w store.WriteTx) error {
		r.s = record.Write(w)
		for _, t := range told {
			if err := r.reclaim(t); err != nil {
				return err
			}
			if _, err := r.s.Admit(t.GetEntry(), t.GetOpenings()); err != nil {
				return against(r.s, err)
			}
		}
		if err := r.s.Finish(); err != nil {
			return err
		}
		if r.s.Unapplied() {
			return unknownEntry()
		}
		if end < r.head.Size {
			return nil
		}
		sum, err := w.Sum()
		switch got := headOf(ledger.Checkpoint{Size: end, Root: r.s.Root(end)}, nil, sum); {
		case err != nil:
			return err
		case got.Root != r.head.Root:
			return fmt.Errorf("the entries are not those of the head that is kept: %w", store.ErrDamaged)
		case got.Documents != r.head.Documents:
			return fmt.Errorf("the entries come to other documents than those that are kept: %w", store.ErrDamaged)
		}
		return nil
	})
}

// reclaim makes the claims of an entry again that is about to be admitted. What is wrong with the entry
// itself, Admit says.
func (r *replay) reclaim(t *recordv1.Told) error {
	if r.past == nil || r.s.Size() == 0 || r.ctx.Err() != nil {
		return r.ctx.Err()
	}
	envelope, _, err := record.EnvelopeOf(t.GetEntry())
	if err != nil {
		return nil
	}
	signed, err := r.s.Open(envelope)
	if err != nil {
		return nil
	}
	r.past.Next(signed.Action)
	_, err = r.c.claims.Check(r.past, signed.Action, t.GetOpenings())
	switch {
	case errors.Is(err, claims.ErrErased):
		return nil
	case errors.Is(err, store.ErrNotFound):
		return distrust("the server keeps back bytes that entry %d names and nobody erased: %v", r.s.Size(), err)
	case reasonOf(err) == claims.ReasonUpgrade:
		return refusal(err)
	case reasonOf(err) != "":
		return distrust("entry %d says of its bytes what is not so: %v", r.s.Size(), err)
	}
	return err
}
