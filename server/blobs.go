package server

import (
	"cmp"
	"context"
	"errors"
	"fmt"

	"google.golang.org/grpc/codes"

	servicev1 "witnessmark/proto/witnessmark/service/v1"
	"witnessmark/store"
)

type blobsServer struct {
	servicev1.UnimplementedBlobsServer
	*core
	sending *room // bytes, by key
}

// Download sends a blob that was copied out of the store: no transaction waits for the one who reads it.
func (s *blobsServer) Download(r *servicev1.DownloadRequest, stream servicev1.Blobs_DownloadServer) error {
	data, err := s.blob("sha256", r.GetSha256())
	if err != nil {
		return err
	}
	who, n := string(callOf(stream.Context()).keyID), int64(len(data))
	if !s.sending.take(who, n) {
		return tooMany("sha256", "too many bytes are on their way to this key")
	}
	defer s.sending.give(who, n)
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
	switch {
	case notFound(err):
		return nil, missing(at, "%s: there are no bytes with SHA-256 %s", at, sha)
	case errors.Is(err, store.ErrDamaged):
		c.log.Error("damaged bytes", "sha256", sha, loggable(err))
		return nil, damagedBlob(at, sha)
	}
	return data, err
}

// damagedBlob says which bytes the store has lost, and what brings them back: whoever has them still may
// bring them again, as part of another action.
func damagedBlob(at, sha string) *fault {
	return &fault{code: codes.DataLoss, reason: "damaged", at: at, allowed: "bytes that hash to their name",
		text: fmt.Sprintf("the bytes with SHA-256 %s are damaged in the server's store; try: witnessmarkd check, then a backup that has them whole", sha)}
}

type adminServer struct {
	servicev1.UnimplementedAdminServer
	*backUp
	version string
}

// Backup copies the store to a file first, so that nobody waits for the one who fetches it. The
// server's key is not part of it.
func (s *adminServer) Backup(_ *servicev1.BackupRequest, stream servicev1.Admin_BackupServer) error {
	f, _, err := s.copy(stream.Context().Done())
	if err != nil {
		return err
	}
	defer f.Close()
	buf := make([]byte, chunkBytes)
	for {
		n, err := f.Read(buf)
		if n == 0 {
			if err = cmp.Or(endOf(err), context.Cause(stream.Context())); err == nil {
				s.finished()
			}
			return err
		}
		if err := context.Cause(stream.Context()); err != nil {
			return err
		}
		if err := stream.Send(&servicev1.BackupResponse{Chunk: buf[:n]}); err != nil {
			return err
		}
	}
}
