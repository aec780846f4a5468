package client

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"io"

	servicev1 "witnessmark/proto/witnessmark/service/v1"
)

const (
	chunkSize = 256 << 10
	// maxBlob bounds what is fetched: an image, a document or a report.
	maxBlob = 256 << 20
)

// blob is bytes to upload, and what a person calls them.
type blob struct {
	what  string
	bytes []byte
}

func (c *Client) watch(what string, size int64) func(int) {
	if c.Progress == nil {
		return func(int) {}
	}
	return c.Progress(what, size)
}

// upload moves bytes; it commits nothing.
func (c *Client) upload(ctx context.Context, b blob) error {
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	sum := HashHex(b.bytes)
	s, err := c.blobs.Upload(ctx)
	if err != nil {
		return c.link.fault(err)
	}
	err = s.Send(&servicev1.UploadRequest{Part: &servicev1.UploadRequest_Header{
		Header: &servicev1.UploadHeader{Size: uint64(len(b.bytes)), Sha256: sum}}})
	moved := c.watch(b.what, int64(len(b.bytes)))
	for rest := b.bytes; len(rest) > 0 && err == nil; {
		n := min(len(rest), chunkSize)
		err = s.Send(&servicev1.UploadRequest{Part: &servicev1.UploadRequest_Chunk{Chunk: rest[:n]}})
		rest = rest[n:]
		moved(n)
	}
	// io.EOF from Send means that the server has answered already: the answer says why.
	if err != nil && !errors.Is(err, io.EOF) {
		return c.link.fault(err)
	}
	r, err := s.CloseAndRecv()
	if err != nil {
		return c.link.fault(err)
	}
	if r.Sha256 != sum {
		return distrust("the server kept other bytes than were sent (%s)", b.what)
	}
	return nil
}

// download gets the bytes that a hash names; other bytes are distrusted.
func (c *Client) download(ctx context.Context, what, sum string) ([]byte, error) {
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	s, err := c.blobs.Download(ctx, &servicev1.DownloadRequest{Sha256: sum})
	if err != nil {
		return nil, c.link.fault(err)
	}
	var out []byte
	moved := func(int) {}
	for first := true; ; first = false {
		m, err := s.Recv()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return nil, c.link.fault(err)
		}
		if first {
			moved = c.watch(what, int64(min(m.Size, maxBlob)))
		}
		if len(out)+len(m.Chunk) > maxBlob {
			return nil, distrust("the server sends more than %d bytes for %s", maxBlob, what)
		}
		out = append(out, m.Chunk...)
		moved(len(m.Chunk))
	}
	if got := sha256.Sum256(out); hex.EncodeToString(got[:]) != sum {
		return nil, distrust("the server's bytes of %s are not those that the ledger names (%s)", what, short(sum))
	}
	return out, nil
}

// short is enough of a hash for a person to compare.
func short(sum string) string {
	if len(sum) > 12 {
		return sum[:12]
	}
	return sum
}
