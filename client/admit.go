package client

import (
	"context"
	"errors"
	"io"
	"time"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	servicev1 "witnessmark/proto/witnessmark/service/v1"
)

// errBusy says that the ledger moved on while the server computed: nothing was entered.
var errBusy = errors.New("the ledger moved on meanwhile; try again")

// admitTimeout bounds the wait for an answer once everything was sent.
const admitTimeout = 4 * callTimeout

// send moves an action, and of its blobs those that the server lacks.
func (c *Client) send(ctx context.Context, p *pending) (*servicev1.Admitted, error) {
	talk, cancel := context.WithCancel(ctx)
	defer cancel()
	// Moving a large image may take long on a slow line; silence may not.
	patience := time.AfterFunc(admitTimeout, cancel)
	defer patience.Stop()
	admitted, err := c.converse(talk, p, func() { patience.Reset(admitTimeout) })
	switch {
	case err != nil && talk.Err() != nil && ctx.Err() == nil:
		return nil, &Error{Kind: Away, Text: "the server does not answer"}
	case status.Code(err) == codes.Aborted:
		return nil, &Error{Kind: Refused, Err: errBusy}
	case err != nil:
		return nil, c.link.fault(err)
	}
	return admitted, nil
}

func (c *Client) converse(ctx context.Context, p *pending, progress func()) (*servicev1.Admitted, error) {
	stream, err := c.record.Admit(ctx)
	if err != nil {
		return nil, err
	}
	action := &servicev1.SignedAction{Envelope: p.envelope, Openings: p.openings}
	if err := stream.Send(&servicev1.AdmitRequest{Content: &servicev1.AdmitRequest_Action{Action: action}}); err != nil && !errors.Is(err, io.EOF) {
		return nil, err
	}
	for sent := false; ; sent = true {
		m, err := stream.Recv()
		if err != nil {
			return nil, err
		}
		if m.GetWanted() == nil || sent {
			return m.GetAdmitted(), nil
		}
		for _, sum := range m.GetWanted().GetSha256() {
			b, ok := p.blobs[sum]
			if !ok {
				return nil, distrust("the server wants bytes that nothing of the action is about (%s)", short(sum))
			}
			if err := c.sendBlob(stream, sum, b, progress); err != nil {
				return nil, err
			}
		}
		if err := stream.CloseSend(); err != nil {
			return nil, err
		}
	}
}

// sendBlob sends one blob in parts, the first of which names it. That the server has answered
// already, Recv tells.
func (c *Client) sendBlob(stream servicev1.Record_AdmitClient, sum string, b blob, progress func()) error {
	moved := c.watch(b.what, int64(len(b.bytes)))
	part := &servicev1.BlobPart{Sha256: sum, Size: uint64(len(b.bytes))}
	for rest := b.bytes; ; {
		n := min(len(rest), chunkSize)
		part.Data, rest = rest[:n], rest[n:]
		err := stream.Send(&servicev1.AdmitRequest{Content: &servicev1.AdmitRequest_Part{Part: part}})
		if errors.Is(err, io.EOF) || err == nil && len(rest) == 0 {
			return nil
		}
		if err != nil {
			return err
		}
		moved(n)
		progress()
		part = &servicev1.BlobPart{}
	}
}
