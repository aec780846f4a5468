package server

import (
	"context"
	"fmt"

	servicev1 "witnessmark/proto/witnessmark/service/v1"
	"witnessmark/store"
)

type blobsServer struct {
	servicev1.UnimplementedBlobsServer
	*core
}

// Download sends a blob that was copied out of the store.
func (s *blobsServer) Download(r *servicev1.DownloadRequest, stream servicev1.Blobs_DownloadServer) error {
	data, err := s.blob("sha256", r.GetSha256())
	if err != nil {
		return err
	}
	m := &servicev1.DownloadResponse{Size: uint64(len(data))} // in the first message only
	for {
		n := min(len(data), chunkBytes)
		if m.Chunk, data = data[:n], data[n:]; n == 0 {
			return nil
		}
		if err := context.Cause(stream.Context()); err != nil {
			return err
		}
		if err := stream.Send(m); err != nil {
			return err
		}
		m = &servicev1.DownloadResponse{}
	}
}

// blob copies a blob out; at names what asked for it.
func (c *core) blob(at, sha string) (data []byte, err error) {
	if _, err := store.ParseHash(sha); err != nil {
		return nil, invalid("bad-value", at, "64 lower-case hex digits", "%s must be 64 lower-case hex digits", at)
	}
	err = c.engine.View(func(tx store.ReadTx) error { data, err = store.GetBlob(tx, sha); return err })
	if notFound(err) {
		return nil, missing(at, "%s: there are no bytes with SHA-256 %s", at, sha)
	}
	return data, err
}

type adminServer struct {
	servicev1.UnimplementedAdminServer
	*core
	spool *spool
}

// Backup copies the store to a file first, so that nobody waits for the one who fetches it. The
// server's key is not part of it.
func (s *adminServer) Backup(_ *servicev1.BackupRequest, stream servicev1.Admin_BackupServer) error {
	f, err := s.spool.file()
	if err != nil {
		return err
	}
	defer f.Close()
	if err := s.engine.Snapshot(f); err != nil {
		return fmt.Errorf("backup: %w", err)
	}
	buf := make([]byte, chunkBytes)
	for at := int64(0); ; {
		n, err := f.ReadAt(buf, at)
		if n == 0 {
			return endOf(err)
		}
		if err := context.Cause(stream.Context()); err != nil {
			return err
		}
		if err := stream.Send(&servicev1.BackupResponse{Chunk: buf[:n]}); err != nil {
			return err
		}
		at += int64(n)
	}
}
