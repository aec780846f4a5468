package client

import (
	"context"
	"errors"
	"fmt"
	"io"
	"strings"

	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	servicev1 "witnessmark/proto/witnessmark/service/v1"
	"witnessmark/store"
	"witnessmark/store/record"
	"witnessmark/tables/image"
)

const (
	chunkSize = 256 << 10
	// maxBlob bounds what is fetched: an image, a document or a report.
	maxBlob = 256 << 20
	// roomFor is how much room is made for what a server only says that it will send.
	roomFor = 16 << 20
)

func (c *Client) watch(what string, size int64) func(int) {
	if c.Progress == nil {
		return func(int) {}
	}
	return c.Progress(what, size)
}

// download gets the bytes that a hash names, from what was looked at before or from the server;
// other bytes are distrusted.
func (c *Client) download(ctx context.Context, what, sum string) ([]byte, error) {
	if b, ok := c.own.home.recall(sum); ok {
		return b, nil
	}
	b, err := c.fetchBlob(ctx, what, sum)
	if err != nil {
		return nil, err
	}
	if HashHex(b) != sum {
		return nil, distrust("the server's bytes of %s are not those that the ledger names (%s)", what, short(sum))
	}
	c.own.home.keep(sum, b)
	return b, nil
}

func (c *Client) fetchBlob(ctx context.Context, what, sum string) ([]byte, error) {
	var b []byte
	lacking := false
	err := c.link.call(ctx, func(p *patient, from grpc.ClientConnInterface) (err error) {
		b, err = c.receive(p, from, what, sum)
		lacking = status.Code(err) == codes.NotFound
		return err
	})
	if lacking {
		return nil, fmt.Errorf("%s: %w: %w", what, store.ErrNotFound, err)
	}
	return b, err
}

func (c *Client) receive(p *patient, from grpc.ClientConnInterface, what, sum string) ([]byte, error) {
	s, err := servicev1.NewBlobsClient(from).Download(p, &servicev1.DownloadRequest{Sha256: sum})
	if err != nil {
		return nil, err
	}
	var out []byte
	moved := func(int) {}
	for first := true; ; first = false {
		p.moved()
		m, err := s.Recv()
		if errors.Is(err, io.EOF) {
			return out, nil
		}
		if err != nil {
			return nil, err
		}
		if first {
			moved = c.watch(what, int64(min(m.GetSize(), maxBlob)))
			out = make([]byte, 0, min(m.GetSize(), roomFor))
		}
		if len(out)+len(m.GetChunk()) > maxBlob {
			return nil, distrust("the server sends more than %d bytes for %s", maxBlob, what)
		}
		out = append(out, m.GetChunk()...)
		moved(len(m.GetChunk()))
	}
}

// source is what claims are made and checked from: the copy, the bytes at hand, and the server's.
type source struct {
	c     *Client
	ctx   context.Context
	given blobs
}

func (s source) View(fn func(*record.State) error) error { return s.c.View(fn) }

func (s source) Blob(what string, sha image.Hash) ([]byte, error) {
	if b, ok := s.given[string(sha)]; ok {
		return b.bytes, nil
	}
	return s.c.download(s.ctx, strings.TrimSuffix(what, ".sha256"), string(sha))
}

// short is enough of a hash for a person to compare.
func short(sum string) string {
	if len(sum) > 12 {
		return sum[:12]
	}
	return sum
}
