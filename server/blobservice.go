package server

import (
	"errors"
	"fmt"
	"io"
	"time"

	"google.golang.org/grpc/codes"

	servicev1 "witnessmark/proto/witnessmark/service/v1"
)

type blobsServer struct {
	servicev1.UnimplementedBlobsServer
	*service
	uploadIdle time.Duration
}

// Upload stages bytes. The end of the stream commits nothing: the action that names the
// bytes does.
func (s *blobsServer) Upload(stream servicev1.Blobs_UploadServer) error {
	first, err := stream.Recv()
	if errors.Is(err, io.EOF) {
		return invalid("no-header", "header", "", "upload: the first message must declare size and SHA-256")
	}
	if err != nil {
		return err
	}
	h := first.GetHeader()
	if h == nil {
		return invalid("no-header", "header", "", "upload: the first message must declare size and SHA-256")
	}
	up, err := s.core.staged.begin(h.GetSize(), h.GetSha256())
	if err != nil {
		return err
	}
	defer up.abandon()
	if err := s.receive(stream, up); err != nil {
		return err
	}
	if err := up.verify(); err != nil {
		return err
	}
	known, err := s.core.has(h.GetSha256())
	if err != nil {
		return fmt.Errorf("upload: %w", err)
	}
	if !known {
		if err := up.finish(); err != nil {
			return err
		}
	}
	return stream.SendAndClose(&servicev1.UploadResponse{Sha256: h.GetSha256(), Known: known})
}

// receive takes the chunks of an upload until the stream ends.
func (s *blobsServer) receive(stream servicev1.Blobs_UploadServer, up *upload) error {
	idle := time.AfterFunc(s.uploadIdle, func() { callOf(stream.Context()).end(slowUpload(s.uploadIdle)) })
	defer idle.Stop()
	for {
		m, err := stream.Recv()
		idle.Reset(s.uploadIdle)
		if errors.Is(err, io.EOF) {
			return nil
		}
		if err != nil {
			return err
		}
		if m.GetHeader() != nil {
			return invalid("second-header", "header", "", "upload: only the first message declares")
		}
		if len(m.GetChunk()) == 0 {
			return invalid("empty-chunk", "chunk", "at least 1 byte", "upload: a message carries no bytes")
		}
		if err := up.write(m.GetChunk()); err != nil {
			return err
		}
	}
}

// slowUpload ends an upload that holds its reserved room and sends nothing.
func slowUpload(after time.Duration) error {
	return &fault{code: codes.DeadlineExceeded, reason: "idle", at: "chunk", text: fmt.Sprintf("upload: nothing came for %s", after)}
}

func (s *blobsServer) Download(r *servicev1.DownloadRequest, stream servicev1.Blobs_DownloadServer) error {
	if !isSHA256(r.GetSha256()) {
		return invalid("bad-hash", "sha256", "64 lower-case hex digits", "download: sha256 must be 64 lower-case hex digits")
	}
	data, err := s.core.stored(r.GetSha256())
	if notFound(err) {
		return missing("sha256", "there are no bytes with SHA-256 %s", short(r.GetSha256()))
	}
	if err != nil {
		return err
	}
	size := uint64(len(data))
	return inChunks(data, func(chunk []byte) error {
		m := &servicev1.DownloadResponse{Size: size, Chunk: chunk}
		size = 0 // in the first message only
		if err := stream.Context().Err(); err != nil {
			return err
		}
		return stream.Send(m)
	})
}

// inChunks sends bytes that were copied out of the store; empty ones are one empty message.
func inChunks(data []byte, send func([]byte) error) error {
	for {
		n := min(len(data), chunkSize)
		if err := send(data[:n]); err != nil {
			return err
		}
		if data = data[n:]; len(data) == 0 {
			return nil
		}
	}
}
