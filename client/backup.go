package client

import (
	"context"
	"errors"
	"io"

	servicev1 "witnessmark/proto/witnessmark/service/v1"
)

// Backup writes a copy of the whole store, which only its owner may read.
func (c *Client) Backup(ctx context.Context, out Out) (size int64, err error) {
	out.Private = true
	staged, err := out.stageFrom(func(w io.Writer) error {
		p, end := c.link.patient(ctx)
		size, err = c.backup(p, w)
		return end(err)
	})
	if err != nil {
		return 0, err
	}
	return size, out.commit(staged)
}

func (c *Client) backup(p *patient, w io.Writer) (size int64, err error) {
	stream, err := c.admin.Backup(p, &servicev1.BackupRequest{})
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
