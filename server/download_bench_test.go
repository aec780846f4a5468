package server

import (
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	mrand "math/rand/v2"
	"net"
	"testing"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/credentials"

	servicev1 "witnessmark/proto/witnessmark/service/v1"
	"witnessmark/store"
)

// bare sends the same bytes to whoever asks, and nothing else.
type bare struct {
	servicev1.UnimplementedBlobsServer
	data []byte
}

func (s *bare) Download(_ *servicev1.DownloadRequest, stream servicev1.Blobs_DownloadServer) error {
	for rest := s.data; len(rest) > 0; {
		n := min(len(rest), chunkBytes)
		if err := stream.Send(&servicev1.DownloadResponse{Chunk: rest[:n]}); err != nil {
			return err
		}
		rest = rest[n:]
	}
	return nil
}

// received is one download: how long it took until all of it was there, and its hash where that is wanted.
func received(b *testing.B, c servicev1.BlobsClient, sha string, verify bool) time.Duration {
	begun := time.Now()
	s, err := c.Download(b.Context(), &servicev1.DownloadRequest{Sha256: sha})
	out := make([]byte, 0, 16<<20)
	for err == nil {
		var m *servicev1.DownloadResponse
		if m, err = s.Recv(); err == nil {
			out = append(out, m.GetChunk()...)
		}
	}
	if !errors.Is(err, io.EOF) {
		b.Fatal(err)
	}
	if verify {
		if sum := sha256.Sum256(out); hex.EncodeToString(sum[:]) != sha {
			b.Fatal("other bytes came")
		}
	}
	return time.Since(begun)
}

// BenchmarkDownload is a download whose hash is checked at both ends, kept whole and as a difference, in times of a bare
// stream of as many bytes over the same TLS: the fastest of many, taken in turns.
func BenchmarkDownload(b *testing.B) {
	for _, size := range []int{1 << 20, 4 << 20, 16 << 20} {
		b.Run(fmt.Sprint(size>>20, "MiB"), func(b *testing.B) {
			w := newWorkshop(b)
			read := make([]byte, size)
			r := mrand.New(mrand.NewPCG(14, 3))
			for i := range read {
				read[i] = byte(r.Uint32())
			}
			edited := append([]byte(nil), read...)
			for range 3300 {
				edited[r.IntN(size)]++
			}
			w.damage(func(tx store.WriteTx) error {
				_, err := store.PutBlob(tx, read, "")
				return errors.Join(err, func() error { _, err := store.PutBlob(tx, edited, hashOf(read)); return err }())
			})
			config, err := serverTLS(w.srv.home.key, w.srv.core.known)
			if err != nil {
				b.Fatal(err)
			}
			plain := grpc.NewServer(grpc.Creds(credentials.NewTLS(config)))
			servicev1.RegisterBlobsServer(plain, &bare{data: read})
			l, err := net.Listen("tcp", "127.0.0.1:0")
			if err != nil {
				b.Fatal(err)
			}
			go func() { _ = plain.Serve(l) }()
			defer plain.Stop()
			floor := servicev1.NewBlobsClient(dial(b, l.Addr().String(), w.keys["lead"], publicOf(w.srv.home.key)))
			real := servicev1.NewBlobsClient(w.as("lead"))
			best := [3]time.Duration{time.Hour, time.Hour, time.Hour}
			for b.Loop() {
				for range 20 {
					best[0] = min(best[0], received(b, floor, hashOf(read), false))
					best[1] = min(best[1], received(b, real, hashOf(read), true))
					best[2] = min(best[2], received(b, real, hashOf(edited), true))
				}
			}
			b.ReportMetric(float64(best[0].Microseconds()), "bare-µs")
			b.ReportMetric(float64(best[1])/float64(best[0]), "whole×")
			b.ReportMetric(float64(best[2])/float64(best[0]), "difference×")
		})
	}
}
