package client

import (
	"context"
	"crypto/ed25519"
	"crypto/rand"
	"crypto/tls"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"net"
	"slices"
	"sync"
	"testing"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/credentials"
	"google.golang.org/grpc/status"

	servicev1 "witnessmark/proto/witnessmark/service/v1"
	"witnessmark/store/ledger"
	"witnessmark/store/record"
)

// fake is a server with a genuine key, that lies on demand. It decides by the rules unless it is
// told not to, and recomputes nothing: what it admits is for the client to find out.
type fake struct {
	servicev1.UnimplementedJobsServer
	servicev1.UnimplementedCatalogServer
	servicev1.UnimplementedBlobsServer
	servicev1.UnimplementedLedgerServer

	key  ed25519.PrivateKey
	addr string

	mu      sync.Mutex
	state   *record.State
	entries [][]byte
	blobs   map[string][]byte
	lie     lie
}

// lie is what the server alters; nil fields alter nothing.
type lie struct {
	blob     func(sum string, b []byte) []byte
	history  func(entries [][]byte) [][]byte // the ledger that is shown, signed as if it were genuine
	note     func(note []byte) []byte
	admitted func(a *servicev1.Admitted) *servicev1.Admitted
	judge    bool // admit without asking the rules
}

func startFake(t testing.TB, lead ed25519.PublicKey, onePerson bool) *fake {
	t.Helper()
	public, private, err := ed25519.GenerateKey(rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	genesis, _ := record.NewGenesis(public, "lead", lead, onePerson, "2026-01-02T03:04:05Z", hex.EncodeToString(make([]byte, 32)))
	f := &fake{key: private, state: new(record.State), blobs: map[string][]byte{}}
	f.admit(genesis)
	f.addr = f.listen(t, private)
	return f
}

// listen serves with a TLS key, the server's own or not, and answers with the address.
func (f *fake) listen(t testing.TB, private ed25519.PrivateKey) string {
	t.Helper()
	cert, err := Certificate(private)
	if err != nil {
		t.Fatal(err)
	}
	g := grpc.NewServer(grpc.Creds(credentials.NewTLS(&tls.Config{MinVersion: tls.VersionTLS13, ClientAuth: tls.RequireAnyClientCert,
		Certificates: []tls.Certificate{cert}})))
	servicev1.RegisterJobsServer(g, f)
	servicev1.RegisterCatalogServer(g, f)
	servicev1.RegisterPeopleServer(g, fakePeople{f: f})
	servicev1.RegisterBlobsServer(g, f)
	servicev1.RegisterLedgerServer(g, f)
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	go func() { _ = g.Serve(l) }()
	t.Cleanup(g.Stop)
	return l.Addr().String()
}

func (f *fake) admit(entry []byte) {
	record.Apply(f.state, entry)
	f.entries = append(f.entries, entry)
}

func (f *fake) tell(l lie) {
	f.mu.Lock()
	f.lie = l
	f.mu.Unlock()
}

func entryOf(envelope []byte) []byte { return record.MakeEntry(envelope, "2026-01-02T03:04:05Z") }

func (f *fake) take(envelope []byte) (*servicev1.Admitted, error) {
	f.mu.Lock()
	defer f.mu.Unlock()
	if !f.lie.judge {
		signed, err := f.state.Open(envelope)
		if err == nil {
			err = record.Decide(f.state, signed)
		}
		if err != nil {
			return nil, status.Error(codes.FailedPrecondition, err.Error())
		}
	}
	entry := entryOf(envelope)
	f.admit(entry)
	a := &servicev1.Admitted{Index: uint64(len(f.entries) - 1), Entry: entry}
	if f.lie.admitted != nil {
		a = f.lie.admitted(a)
	}
	return a, nil
}

// shown is the ledger as the lie has it.
func (f *fake) shown() [][]byte {
	if f.lie.history != nil {
		return f.lie.history(slices.Clone(f.entries))
	}
	return f.entries
}

func (f *fake) GetGenesis(context.Context, *servicev1.GetGenesisRequest) (*servicev1.GetGenesisResponse, error) {
	return &servicev1.GetGenesisResponse{Entry: f.entries[0]}, nil
}

func (f *fake) GetCheckpoint(context.Context, *servicev1.GetCheckpointRequest) (*servicev1.GetCheckpointResponse, error) {
	f.mu.Lock()
	defer f.mu.Unlock()
	note := f.sign(f.shown())
	if f.lie.note != nil {
		note = f.lie.note(note)
	}
	return &servicev1.GetCheckpointResponse{Checkpoint: note}, nil
}

func (f *fake) sign(entries [][]byte) []byte {
	root, err := rootOf(entries)
	if err != nil {
		panic(err)
	}
	note, err := ledger.SignCheckpoint(ledger.Checkpoint{Origin: ledger.Origin(f.state.GenesisSHA256), Size: uint64(len(entries)), Root: root}, f.key)
	if err != nil {
		panic(err)
	}
	return note
}

func (f *fake) ListEntries(_ context.Context, r *servicev1.ListEntriesRequest) (*servicev1.ListEntriesResponse, error) {
	f.mu.Lock()
	defer f.mu.Unlock()
	entries := f.shown()
	if r.First > uint64(len(entries)) {
		return nil, status.Error(codes.OutOfRange, "no such entry")
	}
	// Three at a time, so that paging is exercised.
	return &servicev1.ListEntriesResponse{First: r.First, Entries: entries[r.First:min(uint64(len(entries)), r.First+3)]}, nil
}

// Watch sends the checkpoint every few milliseconds, whether or not the ledger has grown.
func (f *fake) Watch(_ *servicev1.WatchRequest, s grpc.ServerStreamingServer[servicev1.WatchResponse]) error {
	for {
		f.mu.Lock()
		note := f.sign(f.shown())
		f.mu.Unlock()
		if err := s.Send(&servicev1.WatchResponse{Checkpoint: note}); err != nil {
			return err
		}
		select {
		case <-s.Context().Done():
			return s.Context().Err()
		case <-time.After(5 * time.Millisecond):
		}
	}
}

func (f *fake) Upload(s grpc.ClientStreamingServer[servicev1.UploadRequest, servicev1.UploadResponse]) error {
	var b []byte
	for {
		m, err := s.Recv()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return err
		}
		b = append(b, m.GetChunk()...)
	}
	f.mu.Lock()
	defer f.mu.Unlock()
	f.blobs[HashHex(b)] = b
	return s.SendAndClose(&servicev1.UploadResponse{Sha256: HashHex(b)})
}

func (f *fake) Download(r *servicev1.DownloadRequest, s grpc.ServerStreamingServer[servicev1.DownloadResponse]) error {
	f.mu.Lock()
	b, ok := f.blobs[r.Sha256]
	if f.lie.blob != nil {
		b = f.lie.blob(r.Sha256, slices.Clone(b))
	}
	f.mu.Unlock()
	if !ok {
		return status.Error(codes.NotFound, fmt.Sprintf("no blob %s", r.Sha256))
	}
	return s.Send(&servicev1.DownloadResponse{Size: uint64(len(b)), Chunk: b})
}

func (f *fake) Open(_ context.Context, r *servicev1.OpenRequest) (*servicev1.OpenResponse, error) {
	a, err := f.take(r.Envelope)
	return &servicev1.OpenResponse{Admitted: a}, err
}

func (f *fake) AddRead(_ context.Context, r *servicev1.AddReadRequest) (*servicev1.AddReadResponse, error) {
	a, err := f.take(r.Envelope)
	return &servicev1.AddReadResponse{Admitted: a}, err
}

func (f *fake) Submit(_ context.Context, r *servicev1.SubmitRequest) (*servicev1.SubmitResponse, error) {
	a, err := f.take(r.Envelope)
	return &servicev1.SubmitResponse{Admitted: a}, err
}

func (f *fake) Sign(_ context.Context, r *servicev1.SignRequest) (*servicev1.SignResponse, error) {
	a, err := f.take(r.Envelope)
	return &servicev1.SignResponse{Admitted: a}, err
}

func (f *fake) Return(_ context.Context, r *servicev1.ReturnRequest) (*servicev1.ReturnResponse, error) {
	a, err := f.take(r.Envelope)
	return &servicev1.ReturnResponse{Admitted: a}, err
}

func (f *fake) Collect(_ context.Context, r *servicev1.CollectRequest) (*servicev1.CollectResponse, error) {
	a, err := f.take(r.Envelope)
	return &servicev1.CollectResponse{Admitted: a}, err
}

func (f *fake) AddReadback(_ context.Context, r *servicev1.AddReadbackRequest) (*servicev1.AddReadbackResponse, error) {
	a, err := f.take(r.Envelope)
	return &servicev1.AddReadbackResponse{Admitted: a}, err
}

func (f *fake) AddDefinition(_ context.Context, r *servicev1.AddDefinitionRequest) (*servicev1.AddDefinitionResponse, error) {
	a, err := f.take(r.Envelope)
	return &servicev1.AddDefinitionResponse{Admitted: a}, err
}

func (f *fake) AddLimits(_ context.Context, r *servicev1.AddLimitsRequest) (*servicev1.AddLimitsResponse, error) {
	a, err := f.take(r.Envelope)
	return &servicev1.AddLimitsResponse{Admitted: a}, err
}

// fakePeople is apart because Jobs and People both have a List.
type fakePeople struct {
	servicev1.UnimplementedPeopleServer
	f *fake
}

func (p fakePeople) Enrol(_ context.Context, r *servicev1.EnrolRequest) (*servicev1.EnrolResponse, error) {
	a, err := p.f.take(r.Envelope)
	return &servicev1.EnrolResponse{Admitted: a}, err
}

func (p fakePeople) Retire(_ context.Context, r *servicev1.RetireRequest) (*servicev1.RetireResponse, error) {
	a, err := p.f.take(r.Envelope)
	return &servicev1.RetireResponse{Admitted: a}, err
}
