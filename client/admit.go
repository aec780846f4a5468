package client

import (
	"context"
	"errors"
	"io"

	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	servicev1 "witnessmark/proto/witnessmark/service/v1"
)

// errBusy says that the ledger moved on while the server computed: nothing was entered.
var errBusy = errors.New("the ledger moved on meanwhile; try again")

// send moves an action, and of its blobs those that the server lacks. Sent to another server after an answer was
// lost, it is the same request, and answered with the same entry.
func (c *Client) send(ctx context.Context, p *pending) (admitted *servicev1.Admitted, err error) {
	sent := false
	err = c.link.call(ctx, func(talk *patient, to grpc.ClientConnInterface) (err error) {
		admitted, err = c.converse(talk, to, p)
		if status.Code(err) == codes.Aborted {
			if err = (&Error{Kind: Refused, Err: errBusy}); sent {
				// The first server may yet enter it: it is not to be made anew.
				err = &Error{Kind: Away, Text: "one server did not answer and another was busy: whether it was entered is not known yet", Try: "again"}
			}
		}
		sent = true
		return err
	})
	return admitted, err
}

func (c *Client) converse(talk *patient, to grpc.ClientConnInterface, p *pending) (*servicev1.Admitted, error) {
	stream, err := servicev1.NewRecordClient(to).Admit(talk)
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
