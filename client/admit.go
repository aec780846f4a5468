package client

import (
	"context"
	"errors"
	"io"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	servicev1 "witnessmark/proto/witnessmark/service/v1"
)

// errBusy says that the ledger moved on while the server computed: nothing was entered.
var errBusy = errors.New("the ledger moved on meanwhile; try again")

// send moves an action, and of its blobs those that the server lacks.
func (c *Client) send(ctx context.Context, p *pending) (*servicev1.Admitted, error) {
	talk, end := c.link.patient(ctx)
	admitted, err := c.converse(talk, p)
	if status.Code(err) == codes.Aborted {
		err = &Error{Kind: Refused, Err: errBusy}
	}
	return admitted, end(err)
}

func (c *Client) converse(talk *patient, p *pending) (*servicev1.Admitted, error) {
	stream, err := c.record.Admit(talk)
	if err != nil {
		return nil, err
	}
	action := &servicev1.SignedAction{Envelope: p.envelope, Openings: p.openings}
	if err := stream.Send(&servicev1.AdmitRequest{Content: &servicev1.AdmitRequest_Action{Action: action}}); err != nil && !errors.Is(err, io.EOF) {
		return nil, err
	}
	for sent := false; ; sent = true {
		talk.moved()
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
			if err := c.sendBlob(stream, sum, b, talk.moved); err != nil {
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
func (c *Client) sendBlob(stream servicev1.Record_AdmitClient, sum string, b blob, talked func()) error {
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
		talked()
		part = &servicev1.BlobPart{}
	}
}
