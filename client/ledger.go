package client

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/store"
	"witnessmark/store/bolt"
	"witnessmark/store/claims"
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
	dir, err := os.MkdirTemp(c.own.home.Dir, "verify-*")
	if err != nil {
		return Head{}, err
	}
	defer func() { err = errors.Join(err, os.RemoveAll(dir)) }()
	e, err := bolt.CreateWith(filepath.Join(dir, copyFile), bolt.Options{})
	if err != nil {
		return Head{}, err
	}
	defer func() { err = errors.Join(err, e.Close()) }()
	for next := uint64(0); next < head.Size; {
		if next, err = c.again(ctx, e, next, head, deep); err != nil {
			return Head{}, err
		}
	}
	return head, nil
}

// again admits the next entries of the copy once more.
func (c *Client) again(ctx context.Context, e *bolt.Engine, next uint64, head Head, deep bool) (uint64, error) {
	var told []*recordv1.Told
	err := c.own.view(func(tx store.ReadTx) error {
		for i := next; i < min(next+gathered, head.Size); i++ {
			t, err := record.Told(tx, i)
			if err != nil {
				return fmt.Errorf("entry %d: %w", i, err)
			}
			told = append(told, t)
		}
		return nil
	})
	if err != nil {
		return 0, err
	}
	end := next + uint64(len(told))
	return end, e.Update(func(w store.WriteTx) error {
		s := record.Write(w)
		for _, t := range told {
			if err := c.reclaim(ctx, s, t, deep); err != nil {
				return err
			}
			if _, err := s.Admit(t.GetEntry(), t.GetOpenings()); err != nil {
				return against(s, err)
			}
		}
		if err := s.Finish(); err != nil {
			return err
		}
		if s.Unapplied() {
			return unknownEntry()
		}
		if root := s.Root(end); end == head.Size && fmt.Sprintf("%x", root[:]) != head.Root {
			return fmt.Errorf("the entries are not those of the head that is kept: %w", store.ErrDamaged)
		}
		if sum, err := w.Sum(); end == head.Size && (err != nil || fmt.Sprintf("%x", sum[:]) != head.Documents) {
			return errors.Join(err, fmt.Errorf("the entries come to other documents than those that are kept: %w", store.ErrDamaged))
		}
		return nil
	})
}

// replay is what claims of an entry are made again from: the documents as they were before it.
type replay struct {
	source
	s *record.State
}

func (r replay) View(fn func(*record.State) error) error { return fn(r.s) }

// Erased says whether a job was erased by now.
func (r replay) Erased(job uint32) (erased bool) {
	_ = r.c.View(func(s *record.State) error {
		j, _ := s.Job(job)
		erased = j.GetErased() != nil
		return nil
	})
	return erased
}

// reclaim makes the claims of an entry again that is about to be admitted.
func (c *Client) reclaim(ctx context.Context, s *record.State, t *recordv1.Told, deep bool) error {
	if !deep || s.Size() == 0 {
		return nil
	}
	envelope, _, err := record.EnvelopeOf(t.GetEntry())
	if err != nil {
		return nil // Admit says so
	}
	signed, err := s.Open(envelope)
	if err != nil {
		return nil
	}
	_, err = c.claims.Check(replay{c.source(ctx), s}, signed.Action, t.GetOpenings())
	switch {
	case err == nil, errors.Is(err, claims.ErrErased):
		return nil
	case reasonOf(err) == claims.ReasonUpgrade:
		return refusal(err)
	case reasonOf(err) != "":
		return distrust("entry %d says of its bytes what is not so: %v", s.Size(), err)
	}
	return err
}
