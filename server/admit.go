package server

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io"
	"time"

	"google.golang.org/grpc/codes"
	"google.golang.org/protobuf/proto"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
	servicev1 "witnessmark/proto/witnessmark/service/v1"
	"witnessmark/store"
	"witnessmark/store/record"
	"witnessmark/store/signoff"
)

// tries is how often an action is computed anew because others went in before it.
const tries = 8

// Admit takes one signed action and the bytes that it brings. What ends before the committer has
// it leaves nothing behind.
func (s *recordServer) Admit(stream servicev1.Record_AdmitServer) error {
	ctx := stream.Context()
	m, err := stream.Recv()
	if err != nil && !errors.Is(err, io.EOF) {
		return err
	}
	a := &arrival{openings: m.GetAction().GetOpenings(), answer: make(chan admitted, 1)}
	defer a.close()
	answer, wanted, err := s.core.openInTurn(ctx, a, m.GetAction().GetEnvelope(), callOf(ctx).keyID)
	switch {
	case err != nil:
		return err
	case answer != nil:
		err = s.core.shown(ctx, answer.index)
		if err == nil && a.erases() && s.core.home.shared() {
			err = s.core.home.finishErasing(0) // whoever wrote it may not have come to that
		}
	default:
		if err = stream.Send(&servicev1.AdmitResponse{Content: &servicev1.AdmitResponse_Wanted{Wanted: &servicev1.Wanted{Sha256: wanted}}}); err != nil {
			return err
		}
		recv := s.patiently(stream)
		for _, sha := range wanted {
			b, err := s.spool.receive(string(callOf(ctx).keyID), recv, sha)
			if err != nil {
				return err
			}
			a.spooled = append(a.spooled, b)
		}
		answer, err = s.core.admit(ctx, a)
	}
	if err != nil {
		return err
	}
	return stream.Send(&servicev1.AdmitResponse{Content: &servicev1.AdmitResponse_Admitted{
		Admitted: &servicev1.Admitted{Index: answer.index, Entry: answer.entry}}})
}

// patiently receives, and ends a stream that holds room and does not get on. Only the time that it was
// waited for counts.
func (s *recordServer) patiently(stream servicev1.Record_AdmitServer) func() (*servicev1.AdmitRequest, error) {
	c := callOf(stream.Context())
	var got int64
	var waited time.Duration
	return func() (*servicev1.AdmitRequest, error) {
		start := time.Now()
		wait := c.within(s.bounds.patience(got+chunkBytes) - waited)
		m, err := stream.Recv()
		wait.Stop()
		waited += time.Since(start)
		got += int64(proto.Size(m))
		return m, err
	}
}

// inTurn is how large an envelope is whose reading counts.
const inTurn = 64 << 10

// openInTurn is open; of what is large it opens one of each caller at a time, and rests for twice as long as that took: else somebody
// who sends nothing else would have a processor to themselves.
func (c *core) openInTurn(ctx context.Context, a *arrival, envelope []byte, caller signoff.KeyID) (first *admitted, wanted []string, err error) {
	if len(envelope) > inTurn {
		leave, err := c.lanes.enter(ctx, string(caller))
		if err != nil {
			return nil, nil, err
		}
		begun := time.Now()
		defer func() { time.AfterFunc(2*time.Since(begun), leave) }()
	}
	return c.open(a, envelope, caller)
}

// open opens an envelope, which happens nowhere else, decides it, and lists the blobs that it brings
// and the store lacks; first is its answer where it is an entry already.
func (c *core) open(a *arrival, envelope []byte, caller signoff.KeyID) (first *admitted, wanted []string, err error) {
	if len(envelope) == 0 || len(envelope) > signoff.MaxEnvelope {
		return nil, nil, invalid("bad-envelope", "envelope", fmt.Sprintf("1 to %d bytes", signoff.MaxEnvelope),
			"the first message has an envelope of %d bytes; allowed are 1 to %d", len(envelope), signoff.MaxEnvelope)
	}
	if err := errors.Join(c.isBroken(), c.home.hasRoom(0)); err != nil {
		return nil, nil, err
	}
	err = c.engine.View(func(tx store.ReadTx) (err error) {
		s := record.Read(tx)
		defer func() { err = cmp.Or(s.Err(), err) }() // what the store could not say is no reason to refuse
		c.opened.Add(1)
		if a.signed, err = s.Open(envelope); err != nil {
			return openFault(err)
		}
		if a.signed.KeyID != caller {
			return &fault{code: codes.PermissionDenied, reason: "not-the-signer", at: "envelope",
				allowed: "an action signed by the key of this connection",
				text:    "the action is signed by another key than this connection's: people bring their own actions"}
		}
		if first, err = earlier(tx, s, a.signed); err != nil || first != nil {
			return err
		}
		if err := record.Decide(s, a.signed); err != nil {
			return err
		}
		if err := a.complete(s); err != nil {
			return err
		}
		wanted, err = lacking(tx, a.signed.Action)
		return err
	})
	return first, wanted, err
}

// complete wants the opening of whatever the action seals, now or from an action before it.
func (a *arrival) complete(s *record.State) error {
	if err := record.CheckOpenings(record.Decided(a.signed, ""), a.openings); err != nil {
		return err
	}
	given := map[string]bool{}
	for _, o := range a.openings {
		given[o.GetCommitment()] = true
	}
	for _, c := range signoff.Commitments(a.signed.Action) {
		if !given[c.Commitment] && s.Opening(c.Commitment) == nil {
			return invalid(record.ReasonOpening, c.At, "", "%s: its text did not come with it; allowed: an opening for each sealed text", c.At)
		}
	}
	return s.Err()
}

// openFault refuses an envelope that cannot be opened.
func openFault(err error) error {
	reason := record.ReasonBadEnvelope
	switch {
	case errors.Is(err, record.ErrUnknownKind):
		return err
	case errors.Is(err, signoff.ErrUnknownKey):
		reason = record.ReasonUnknownKey
	case errors.Is(err, signoff.ErrSignature):
		reason = record.ReasonBadSignature
	}
	return &record.Refusal{Reason: reason, At: "envelope", Text: oneLine(err)}
}

// lacking lists the blobs that an action brings and that are not there, or not whole.
func lacking(tx store.ReadTx, a *recordv1.Action) (shas []string, err error) {
	for _, b := range record.Brings(a) {
		switch _, err := store.GetBlob(tx, b.SHA256); {
		case errors.Is(err, store.ErrNotFound), errors.Is(err, store.ErrDamaged):
			shas = append(shas, b.SHA256)
		case err != nil:
			return nil, err
		}
	}
	return shas, nil
}

// compute makes an action's claims again, outside any transaction.
func (c *core) compute(a *arrival) error {
	a.reads = &store.Reads{}
	src := &source{c.engine, a}
	if err := src.settled(); err != nil {
		return err
	}
	_, err := c.claims.Check(src, a.signed.Action, a.openings)
	return err
}

// computeInTurn computes one action of each signer at a time.
func (c *core) computeInTurn(ctx context.Context, a *arrival) error {
	leave, err := c.lanes.enter(ctx, string(a.signed.KeyID))
	if err != nil {
		return err
	}
	defer leave()
	c.comes(a)
	return c.compute(a)
}

// instead is the answer to an action that was not computed. Where its claims cannot be made or are refused, they were
// made from what is newer than what it was decided by: by now it may be an entry, brought on another way, or be
// against the rules, which say why.
func (c *core) instead(ctx context.Context, a *arrival, why error) admitted {
	answer := admitted{err: why}
	var refused *record.Refusal
	if !errors.As(why, &refused) && !errors.Is(why, store.ErrNotFound) {
		return answer
	}
	err := c.engine.View(func(tx store.ReadTx) error {
		r, err := a.standing(tx, record.Read(tx))
		if r != nil {
			answer = *r
		}
		return err
	})
	if err == nil && answer.err == nil {
		err = c.shown(ctx, answer.index)
	}
	if err != nil {
		return admitted{err: err}
	}
	return answer
}

// admit hands an action to the committer; if what its claims rest on has changed by then, they are
// made again.
func (c *core) admit(ctx context.Context, a *arrival) (*admitted, error) {
	defer c.there(a)
	for range tries {
		if err := c.computeInTurn(ctx, a); err != nil {
			if r := c.instead(ctx, a, err); !errors.Is(r.err, errMoved) {
				return &r, r.err
			}
			continue
		}
		c.figures.waiting.Inc()
		defer c.figures.waiting.Dec()
		select {
		case c.queue <- a:
		case <-c.stop:
			return nil, stopping()
		case <-ctx.Done():
			return nil, context.Cause(ctx)
		}
		// The committer has it, and reads what was spooled: whoever called may be gone.
		if r := <-a.answer; !errors.Is(r.err, errMoved) {
			return &r, r.err
		}
	}
	return nil, &fault{code: codes.Aborted, reason: "busy", text: "others changed what this rests on, again and again; try again"}
}
