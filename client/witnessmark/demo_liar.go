package main

import (
	"context"
	"crypto/tls"
	"encoding/json"
	"errors"
	"io"
	"net"
	"os"
	"path/filepath"
	"sync/atomic"

	"google.golang.org/grpc"
	"google.golang.org/grpc/credentials"

	"witnessmark/client"
	servicev1 "witnessmark/proto/witnessmark/service/v1"
	"witnessmark/store/signoff"
)

// lie is what a server that was taken over does to what it passes on.
type lie int32

const (
	withhold lie = iota // the texts of the newest entries
	alter               // one bit of a blob
	rollBack            // to the head that it saw first
)

// liar is a server that has the genuine key, passes everything on, and tells one lie at a time.
type liar struct {
	servicev1.UnimplementedBlobsServer
	servicev1.UnimplementedRecordServer

	addr    string
	lie     atomic.Int32
	target  string // the blob that it alters
	own     tls.Certificate
	genuine *grpc.ClientConn
	seen    *servicev1.HeadResponse
	stop    func()
}

// newLiar makes one that stands between a person and the genuine server.
func newLiar(ctx context.Context, addr, serverKey, personKey, target string) (*liar, error) {
	b, err := os.ReadFile(serverKey)
	if err != nil {
		return nil, err
	}
	key, err := signoff.ParsePrivateKey(serverKey, b, nil)
	if err != nil {
		return nil, err
	}
	person, err := client.LoadSigner(personKey, nil)
	if err != nil {
		return nil, err
	}
	theirs, err := client.Certificate(person)
	if err != nil {
		return nil, err
	}
	l := &liar{target: target}
	if l.own, err = client.Certificate(key); err != nil {
		return nil, err
	}
	l.genuine, err = grpc.NewClient("passthrough:///"+addr, grpc.WithTransportCredentials(credentials.NewTLS(&tls.Config{
		MinVersion: tls.VersionTLS13, Certificates: []tls.Certificate{theirs}, InsecureSkipVerify: true})))
	if err != nil {
		return nil, err
	}
	if l.seen, err = l.record().Head(ctx, &servicev1.HeadRequest{}); err != nil {
		err = errors.Join(err, l.genuine.Close())
	}
	return l, err
}

// serve serves blobs, and the record as r does.
func (l *liar) serve(r servicev1.RecordServer) error {
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		return errors.Join(err, l.genuine.Close())
	}
	g := grpc.NewServer(grpc.Creds(credentials.NewTLS(&tls.Config{
		MinVersion: tls.VersionTLS13, Certificates: []tls.Certificate{l.own}, ClientAuth: tls.RequireAnyClientCert})))
	servicev1.RegisterBlobsServer(g, l)
	servicev1.RegisterRecordServer(g, r)
	go func() { _ = g.Serve(listener) }()
	l.addr, l.stop = listener.Addr().String(), func() { g.Stop(); _ = l.genuine.Close() }
	return nil
}

// point makes a person's folder name another server.
func point(home, addr string) error {
	path := filepath.Join(home, "config.json")
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

func (l *liar) record() servicev1.RecordClient { return servicev1.NewRecordClient(l.genuine) }

func (l *liar) tells(what lie) bool { return lie(l.lie.Load()) == what }

// Head passes on.
func (l *liar) Head(ctx context.Context, r *servicev1.HeadRequest) (*servicev1.HeadResponse, error) {
	if l.tells(rollBack) {
		return l.seen, nil
	}
	return l.record().Head(ctx, r)
}

// Entries passes on.
func (l *liar) Entries(r *servicev1.EntriesRequest, out grpc.ServerStreamingServer[servicev1.EntriesResponse]) error {
	in, err := l.record().Entries(out.Context(), r)
	if err != nil {
		return err
	}
	return pass(in, out, func(m *servicev1.EntriesResponse) {
		for _, told := range m.GetEntries() {
			if l.tells(withhold) {
				told.Openings = nil
			}
		}
	})
}

// Download passes on.
func (l *liar) Download(r *servicev1.DownloadRequest, out grpc.ServerStreamingServer[servicev1.DownloadResponse]) error {
	in, err := servicev1.NewBlobsClient(l.genuine).Download(out.Context(), r)
	if err != nil {
		return err
	}
	done := r.GetSha256() != l.target || !l.tells(alter)
	return pass(in, out, func(m *servicev1.DownloadResponse) {
		if n := len(m.GetChunk()); n > 0 && !done {
			m.Chunk[n/2] ^= 1
			done = true
		}
	})
}

// pass hands a stream on, each message as change leaves it.
func pass[M any](in grpc.ServerStreamingClient[M], out grpc.ServerStreamingServer[M], change func(*M)) error {
	for {
		m, err := in.Recv()
		if errors.Is(err, io.EOF) {
			return nil
		}
		if err != nil {
			return err
		}
		change(m)
		if err := out.Send(m); err != nil {
			return err
		}
	}
}
