package client

import (
	"context"
	"errors"
	"io"

	"google.golang.org/grpc"

	servicev1 "witnessmark/proto/witnessmark/service/v1"
)

// Backup writes a copy of the whole store, which only its owner may read.
func (c *Client) Backup(ctx context.Context, out Out) (size int64, err error) {
	out.Private = true
	var whole staged
	err = c.link.call(ctx, func(p *patient, to grpc.ClientConnInterface) error {
		whole, err = out.stageFrom(func(w io.Writer) error { size, err = c.backup(p, to, w); return err })
		return err
	})
	if err != nil {
		return 0, err
	}
	return size, out.commit(whole)
}

func (c *Client) backup(p *patient, from grpc.ClientConnInterface, w io.Writer) (size int64, err error) {
	stream, err := servicev1.NewAdminClient(from).Backup(p, &servicev1.BackupRequest{})
	if err != nil {
		return 0, err
	}
	moved := c.watch("backup", -1)
	for {
		p.moved()
		m, err := stream.Recv()
		if errors.Is(err, io.EOF) {
			return size, nil
		}
		if err != nil {
			return size, err
		}
		n, err := w.Write(m.GetChunk())
		if err != nil {
			return size, err
		}
		size += int64(n)
		moved(n)
	}
}
