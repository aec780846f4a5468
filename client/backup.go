package client

import (
	"context"
	"errors"
	"io"
	"os"
	"path/filepath"

	servicev1 "witnessmark/proto/witnessmark/service/v1"
	"witnessmark/store"
)

// Backup writes a copy of the whole store to a new file; it is there whole, or not at all.
func (c *Client) Backup(ctx context.Context, out string) (size int64, err error) {
	if FileExists(out) {
		return 0, usage("another name", "%s is there already", out)
	}
	f, err := os.CreateTemp(filepath.Dir(out), "."+filepath.Base(out)+".*")
	if err != nil {
		return 0, err
	}
	defer func() { err = errors.Join(err, removed(f.Name())) }()
	p, end := c.link.patient(ctx)
	size, err = c.backup(p, f)
	if err := errors.Join(end(err), f.Sync(), f.Close()); err != nil {
		return 0, err
	}
	// Unlike a rename, a link never takes the place of a file.
	if err := os.Link(f.Name(), out); err != nil {
		return 0, err
	}
	return size, store.SyncFolder(filepath.Dir(out))
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
