package main

import (
	"context"
	"crypto/ed25519"
	"crypto/tls"
	"encoding/json"
	"errors"
	"io"
	"net"
	"os"
	"path/filepath"
	"sync"

	"google.golang.org/grpc"
	"google.golang.org/grpc/credentials"

	"witnessmark/client"
	servicev1 "witnessmark/proto/witnessmark/service/v1"
	"witnessmark/store/ledger"
	"witnessmark/store/signoff"
)

// liar is a server that has the genuine key, passes everything on, and alters one thing at a time.
type liar struct {
	servicev1.UnimplementedBlobsServer
	servicev1.UnimplementedLedgerServer

	key     ed25519.PrivateKey
	target  string // the blob that it alters
	genuine *grpc.ClientConn
	stop    func()

	mu  sync.Mutex
	old bool
}

// startLiar starts one, and makes the technician's folder point to it.
func (s *stageSet) startLiar(target string) (*liar, error) {
	b, err := os.ReadFile(filepath.Join(s.path("server"), "server.key"))
	if err != nil {
		return nil, err
	}
	key, err := signoff.ParsePrivateKey("server.key", b, nil)
	if err != nil {
		return nil, err
	}
	thief, err := client.LoadSigner(s.path("technician.key"), nil)
	if err != nil {
		return nil, err
	}
	mine, err := client.Certificate(thief)
	if err != nil {
		return nil, err
	}
	theirs, err := client.Certificate(key)
	if err != nil {
		return nil, err
	}
	l := &liar{key: key, target: target}
	l.genuine, err = grpc.NewClient("passthrough:///"+s.addr, grpc.WithTransportCredentials(credentials.NewTLS(&tls.Config{
		MinVersion: tls.VersionTLS13, Certificates: []tls.Certificate{mine}, InsecureSkipVerify: true})))
	if err != nil {
		return nil, err
	}
	g := grpc.NewServer(grpc.Creds(credentials.NewTLS(&tls.Config{
		MinVersion: tls.VersionTLS13, Certificates: []tls.Certificate{theirs}, ClientAuth: tls.RequireAnyClientCert})))
	servicev1.RegisterBlobsServer(g, l)
	servicev1.RegisterLedgerServer(g, l)
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		return nil, errors.Join(err, l.genuine.Close())
	}
	go func() { _ = g.Serve(listener) }()
	l.stop = func() { g.Stop(); _ = l.genuine.Close() }
	return l, s.point(listener.Addr().String())
}

// point makes the technician's folder name another server.
func (s *stageSet) point(addr string) error {
	path := filepath.Join(s.path("technician"), "config.json")
	b, err := os.ReadFile(path)
	if err != nil {
		return err
	}
	var c client.Config
	if err := json.Unmarshal(b, &c); err != nil {
		return err
	}
	c.Server = addr
	if b, err = json.Marshal(c); err != nil {
		return err
	}
	return os.WriteFile(path, b, 0o600)
}

func (l *liar) older(on bool) {
	l.mu.Lock()
	l.old = on
	l.mu.Unlock()
}

// Download flips one bit of the blob that it is after.
func (l *liar) Download(r *servicev1.DownloadRequest, out grpc.ServerStreamingServer[servicev1.DownloadResponse]) error {
	in, err := servicev1.NewBlobsClient(l.genuine).Download(out.Context(), r)
	if err != nil {
		return err
	}
	for done := r.Sha256 != l.target; ; {
		m, err := in.Recv()
		if err != nil {
			if errors.Is(err, io.EOF) {
				return nil
			}
			return err
		}
		if len(m.Chunk) > 0 && !done {
			m.Chunk[len(m.Chunk)/2] ^= 1
			done = true
		}
		if err := out.Send(m); err != nil {
			return err
		}
	}
}

// ListEntries passes on.
func (l *liar) ListEntries(ctx context.Context, r *servicev1.ListEntriesRequest) (*servicev1.ListEntriesResponse, error) {
	return servicev1.NewLedgerClient(l.genuine).ListEntries(ctx, r)
}

// GetCheckpoint passes on, or signs the ledger as it was four entries ago.
func (l *liar) GetCheckpoint(ctx context.Context, r *servicev1.GetCheckpointRequest) (*servicev1.GetCheckpointResponse, error) {
	answer, err := servicev1.NewLedgerClient(l.genuine).GetCheckpoint(ctx, r)
	l.mu.Lock()
	old := l.old
	l.mu.Unlock()
	if err != nil || !old {
		return answer, err
	}
	entries, err := l.ListEntries(ctx, &servicev1.ListEntriesRequest{})
	if err != nil {
		return nil, err
	}
	var t ledger.Tree
	for _, e := range entries.Entries[:len(entries.Entries)-4] {
		t.Append(e)
	}
	root, err := t.Root(t.Size())
	if err != nil {
		return nil, err
	}
	note, err := ledger.SignCheckpoint(ledger.Checkpoint{Origin: ledger.Origin(client.HashHex(entries.Entries[0])), Size: t.Size(), Root: root}, l.key)
	return &servicev1.GetCheckpointResponse{Checkpoint: note}, err
}
