package client

import (
	"bytes"
	"context"
	"crypto/rand"
	"encoding/hex"
	"errors"
	"fmt"

	"google.golang.org/protobuf/proto"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
	servicev1 "witnessmark/proto/witnessmark/service/v1"
	"witnessmark/store/record"
	"witnessmark/store/signoff"
)

// act signs an action and has it admitted: it must be allowed by the rules as the mirror has them
// before a byte is sent, and be in the ledger, as signed, afterwards. The answer is its index.
func (c *Client) act(ctx context.Context, a *recordv1.Action, blobs ...blob) (uint64, error) {
	if err := c.Sync(ctx); err != nil {
		return 0, err
	}
	if _, err := c.complete(a); err != nil {
		return 0, err
	}
	return c.enter(ctx, a, blobs...)
}

// enter signs and sends an action that is complete, after the rules were asked about it.
func (c *Client) enter(ctx context.Context, a *recordv1.Action, blobs ...blob) (uint64, error) {
	envelope, err := c.seal(a)
	if err != nil {
		return 0, err
	}
	for _, b := range blobs {
		if err := c.upload(ctx, b); err != nil {
			return 0, err
		}
	}
	short, cancel := context.WithTimeout(ctx, 4*callTimeout)
	defer cancel()
	admitted, err := c.send(short, a, envelope)
	if err != nil {
		return 0, c.link.fault(err)
	}
	if err := c.Sync(ctx); err != nil {
		return 0, err
	}
	return admitted.GetIndex(), c.checkAdmitted(admitted, envelope)
}

// complete fills in what every action carries.
func (c *Client) complete(a *recordv1.Action) (*record.State, error) {
	c.mu.Lock()
	state, head := c.state, c.head
	c.mu.Unlock()
	id := make([]byte, 16)
	if _, err := rand.Read(id); err != nil {
		return nil, err
	}
	a.Genesis = c.config.Genesis
	a.RequestId = hex.EncodeToString(id)
	a.Time = now()
	a.Seen = &recordv1.Seen{Size: uint32(head.Size), Root: head.Root}
	target, err := state.Target(a)
	if err != nil {
		return nil, refusal(err)
	}
	a.ActsOn = target
	return state, nil
}

// may asks the rules about an action without signing it.
func (c *Client) may(a *recordv1.Action) error {
	state, err := c.complete(a)
	if err != nil {
		return err
	}
	return c.allowed(state, a)
}

func (c *Client) allowed(state *record.State, a *recordv1.Action) error {
	return c.decide(state, &signoff.Signed{Key: c.Key(), KeyID: signoff.Fingerprint(c.Key()), Action: a, Kind: signoff.Kind(a)})
}

func (c *Client) decide(state *record.State, s *signoff.Signed) error {
	if err := record.Decide(state, s); err != nil {
		return refusal(err)
	}
	return nil
}

// seal asks the rules about an action that is complete, and only then signs it.
func (c *Client) seal(a *recordv1.Action) ([]byte, error) {
	if err := c.allowed(c.view(), a); err != nil {
		return nil, err
	}
	envelope, err := signoff.Seal(a, c.signer)
	if err != nil {
		return nil, fmt.Errorf("cannot sign: %w", err)
	}
	return envelope, nil
}

// refusal gives a refusal of the rules its kind; its text says what would be right.
func refusal(err error) error {
	var r *record.Refusal
	if errors.As(err, &r) {
		return &Error{Kind: Refused, Text: r.Text}
	}
	if isUnknown(err) {
		return upgrade("the ledger holds an entry of a kind that this witnessmark does not know")
	}
	return &Error{Kind: Refused, Err: err}
}

// checkAdmitted looks for the envelope in the mirror: an answer alone proves nothing.
func (c *Client) checkAdmitted(admitted *servicev1.Admitted, envelope []byte) error {
	c.mu.Lock()
	entries := c.entries
	c.mu.Unlock()
	i := admitted.GetIndex()
	if i >= uint64(len(entries)) || !bytes.Equal(entries[i], admitted.GetEntry()) {
		return distrust("the server says that entry %d was admitted, and the ledger does not hold it", i)
	}
	var e recordv1.Entry
	if err := proto.Unmarshal(entries[i], &e); err != nil || !bytes.Equal(e.GetEnvelope(), envelope) {
		return distrust("entry %d is not what was signed", i)
	}
	return nil
}

// send calls the method of the action's kind.
func (c *Client) send(ctx context.Context, a *recordv1.Action, envelope []byte) (*servicev1.Admitted, error) {
	switch a.Body.(type) {
	case *recordv1.Action_Job:
		r, err := c.jobs.Open(ctx, &servicev1.OpenRequest{Envelope: envelope})
		return r.GetAdmitted(), err
	case *recordv1.Action_Read:
		r, err := c.jobs.AddRead(ctx, &servicev1.AddReadRequest{Envelope: envelope})
		return r.GetAdmitted(), err
	case *recordv1.Action_Submission:
		r, err := c.jobs.Submit(ctx, &servicev1.SubmitRequest{Envelope: envelope})
		return r.GetAdmitted(), err
	case *recordv1.Action_SignOff:
		r, err := c.jobs.Sign(ctx, &servicev1.SignRequest{Envelope: envelope})
		return r.GetAdmitted(), err
	case *recordv1.Action_Return:
		r, err := c.jobs.Return(ctx, &servicev1.ReturnRequest{Envelope: envelope})
		return r.GetAdmitted(), err
	case *recordv1.Action_Withdraw:
		r, err := c.jobs.Withdraw(ctx, &servicev1.WithdrawRequest{Envelope: envelope})
		return r.GetAdmitted(), err
	case *recordv1.Action_Collect:
		r, err := c.jobs.Collect(ctx, &servicev1.CollectRequest{Envelope: envelope})
		return r.GetAdmitted(), err
	case *recordv1.Action_ReadBack:
		r, err := c.jobs.AddReadback(ctx, &servicev1.AddReadbackRequest{Envelope: envelope})
		return r.GetAdmitted(), err
	case *recordv1.Action_Run:
		r, err := c.jobs.AddRun(ctx, &servicev1.AddRunRequest{Envelope: envelope})
		return r.GetAdmitted(), err
	}
	return c.sendOther(ctx, a, envelope)
}

func (c *Client) sendOther(ctx context.Context, a *recordv1.Action, envelope []byte) (*servicev1.Admitted, error) {
	switch a.Body.(type) {
	case *recordv1.Action_Enrol:
		r, err := c.people.Enrol(ctx, &servicev1.EnrolRequest{Envelope: envelope})
		return r.GetAdmitted(), err
	case *recordv1.Action_Retire:
		r, err := c.people.Retire(ctx, &servicev1.RetireRequest{Envelope: envelope})
		return r.GetAdmitted(), err
	case *recordv1.Action_Definition:
		r, err := c.catalog.AddDefinition(ctx, &servicev1.AddDefinitionRequest{Envelope: envelope})
		return r.GetAdmitted(), err
	case *recordv1.Action_Limits:
		r, err := c.catalog.AddLimits(ctx, &servicev1.AddLimitsRequest{Envelope: envelope})
		return r.GetAdmitted(), err
	}
	return nil, fmt.Errorf("no method takes an action of this kind (%T)", a.Body)
}
