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
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	stream, err := c.admin.Backup(ctx, &servicev1.BackupRequest{})
	if err != nil {
		return 0, c.link.fault(err)
	}
	f, err := os.CreateTemp(filepath.Dir(out), "."+filepath.Base(out)+".*")
	if err != nil {
		return 0, err
	}
	defer func() { err = errors.Join(err, removed(f.Name())) }()
	moved := c.watch("backup", -1)
	for {
		m, err := stream.Recv()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return 0, errors.Join(c.link.fault(err), f.Close())
		}
		if _, err := f.Write(m.GetChunk()); err != nil {
			return 0, errors.Join(err, f.Close())
		}
		size += int64(len(m.GetChunk()))
		moved(len(m.GetChunk()))
	}
	if err := errors.Join(f.Sync(), f.Close()); err != nil {
		return 0, err
	}
	// Unlike a rename, a link never takes the place of a file.
	if err := os.Link(f.Name(), out); err != nil {
		return 0, err
	}
	return size, store.SyncFolder(filepath.Dir(out))
}
