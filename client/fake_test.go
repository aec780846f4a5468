package client

import (
	"bytes"
	"crypto/ed25519"
	"crypto/rand"
	"crypto/tls"
	"encoding/hex"
	"errors"
	"fmt"
	"net"
	"slices"
	"sync"
	"testing"
	"time"

	"context"

	"golang.org/x/mod/sumdb/tlog"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/credentials"
	"google.golang.org/grpc/status"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
	servicev1 "witnessmark/proto/witnessmark/service/v1"
	"witnessmark/store"
	"witnessmark/store/claims"
	"witnessmark/store/ledger"
	"witnessmark/store/memory"
	"witnessmark/store/record"
	"witnessmark/store/signoff"
	"witnessmark/tables/image"
)

// fake is a server with a genuine key, that lies on demand. It decides by the rules and makes every
// claim again, unless it is told not to: then what it admits is for the client to find out.
type fake struct {
	servicev1.UnimplementedRecordServer
	servicev1.UnimplementedBlobsServer
	servicev1.UnimplementedAdminServer

	key     ed25519.PrivateKey
	addr    string
	genesis string

	mu    sync.Mutex
	state store.Engine
	told  []*recordv1.Told
	blobs map[string][]byte
	lie   lie
}

// lie is what the server alters; nil fields alter nothing.
type lie struct {
	blob     func(sum string, b []byte) []byte
	history  func(told []*recordv1.Told) []*recordv1.Told // the ledger that is shown, signed as if it were genuine
	note     func(note []byte) []byte
	admitted func(a *servicev1.Admitted) *servicev1.Admitted
	wanted   func(w []string) []string
	says     func() *servicev1.ConditionResponse // nil where it knows of no such question
	lax      bool                                // admit without asking rules and claims
	// at is asked at each point of an Admit; an error ends it there.
	at func(point string) error
}

// The points of an Admit.
const (
	pointAction = "the action came"
	pointBlobs  = "its blobs came"
	pointEntry  = "it is an entry"
)

func startFake(t testing.TB, lead ed25519.PublicKey, onePerson bool) *fake {
	t.Helper()
	return startFakeAfter(t, lead, onePerson, nil)
}

// startFakeAfter starts one whose ledger goes on from another.
func startFakeAfter(t testing.TB, lead ed25519.PublicKey, onePerson bool, old *recordv1.Continues) *fake {
	t.Helper()
	public, private, err := ed25519.GenerateKey(rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	entry, sum := record.NewGenesis(&recordv1.Genesis{ServerKey: signoff.FormatPublicKey(public), LeadName: "lead", LeadKey: signoff.FormatPublicKey(lead),
		OnePerson: onePerson, Continues: old, CreatedAt: "2026-01-02T03:04:05Z", Salt: hex.EncodeToString(make([]byte, 32))})
	f := &fake{key: private, genesis: sum, state: memory.New(), blobs: map[string][]byte{}}
	if err := f.update(func(s *record.State) error { _, err := s.Admit(entry, nil); return err }); err != nil {
		t.Fatal(err)
	}
	f.told = append(f.told, &recordv1.Told{Entry: entry})
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
	servicev1.RegisterRecordServer(g, f)
	servicev1.RegisterBlobsServer(g, f)
	servicev1.RegisterAdminServer(g, f)
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	go func() { _ = g.Serve(l) }()
	t.Cleanup(g.Stop)
	return l.Addr().String()
}

func (f *fake) update(fn func(*record.State) error) error {
	return f.state.Update(func(w store.WriteTx) error {
		s := record.Write(w)
		if err := fn(s); err != nil {
			return err
		}
		return s.Finish()
	})
}

func (f *fake) tell(l lie) {
	f.mu.Lock()
	f.lie = l
	f.mu.Unlock()
}

const admittedAt = "2026-01-02T03:04:05Z"

func entryOf(envelope []byte) []byte { return record.MakeEntry(envelope, admittedAt) }

// add admits an envelope without asking anybody; the fake's own state follows if it can.
func (f *fake) add(envelope []byte, openings ...*recordv1.Opening) {
	f.told = append(f.told, &recordv1.Told{Entry: entryOf(envelope), Openings: openings})
	_ = f.update(func(s *record.State) error {
		signed, err := s.Open(envelope)
		if err == nil {
			_, err = s.Apply(record.Decided(signed, admittedAt), openings)
		}
		return err
	})
}

// View and Blob are the source of the claims that the fake makes again.
func (f *fake) View(fn func(*record.State) error) error { return record.View(f.state, fn) }

func (f *fake) Blob(what string, sha image.Hash) ([]byte, error) {
	if b, ok := f.blobs[string(sha)]; ok {
		return b, nil
	}
	return nil, fmt.Errorf("%s: %w", what, store.ErrNotFound)
}

// shown is the ledger as the lie has it. Openings that were erased are not handed on.
func (f *fake) shown() []*recordv1.Told {
	var out []*recordv1.Told
	_ = f.View(func(s *record.State) error {
		for _, t := range f.told {
			kept := &recordv1.Told{Entry: t.Entry}
			for _, o := range t.Openings {
				if s.Opening(o.Commitment) != nil {
					kept.Openings = append(kept.Openings, o)
				}
			}
			out = append(out, kept)
		}
		return nil
	})
	if f.lie.history != nil {
		return f.lie.history(out)
	}
	return out
}

func (f *fake) Admit(stream grpc.BidiStreamingServer[servicev1.AdmitRequest, servicev1.AdmitResponse]) error {
	m, err := stream.Recv()
	if err != nil {
		return err
	}
	f.mu.Lock()
	defer f.mu.Unlock()
	at := f.lie.at
	if at == nil {
		at = func(string) error { return nil }
	}
	envelope, openings := m.GetAction().GetEnvelope(), m.GetAction().GetOpenings()
	if a := f.earlier(envelope); a != nil {
		return stream.Send(admittedMessage(a))
	}
	if err := at(pointAction); err != nil {
		return err
	}
	var signed *signoff.Signed
	err = f.View(func(s *record.State) (err error) {
		if signed, err = s.Open(envelope); err == nil && !f.lie.lax {
			err = record.Decide(s, signed)
		}
		return err
	})
	if err != nil {
		return fault(err)
	}
	if err := f.receive(stream, signed.Action); err != nil {
		return err
	}
	if a := f.earlier(envelope); a != nil { // it came another way meanwhile
		return stream.Send(admittedMessage(a))
	}
	if err := at(pointBlobs); err != nil {
		return err
	}
	if !f.lie.lax {
		made, err := claims.New().Check(f, signed.Action, openings)
		if err != nil {
			return fault(err)
		}
		for sum, b := range made.Reports {
			f.blobs[string(sum)] = b
		}
	}
	f.add(envelope, openings...)
	if err := at(pointEntry); err != nil {
		return err
	}
	a := &servicev1.Admitted{Index: uint64(len(f.told) - 1), Entry: entryOf(envelope)}
	if f.lie.admitted != nil {
		a = f.lie.admitted(a)
	}
	return stream.Send(admittedMessage(a))
}

// earlier is the entry that an envelope is already.
func (f *fake) earlier(envelope []byte) *servicev1.Admitted {
	for i, t := range f.told {
		if e, _, _ := record.EnvelopeOf(t.Entry); bytes.Equal(e, envelope) {
			return &servicev1.Admitted{Index: uint64(i), Entry: t.Entry}
		}
	}
	return nil
}

func admittedMessage(a *servicev1.Admitted) *servicev1.AdmitResponse {
	return &servicev1.AdmitResponse{Content: &servicev1.AdmitResponse_Admitted{Admitted: a}}
}

// fault is a refusal as a server sends it.
func fault(err error) error {
	var r *record.Refusal
	if !errors.As(err, &r) {
		return status.Error(codes.Internal, err.Error())
	}
	s, err := status.New(codes.FailedPrecondition, r.Text).WithDetails(&servicev1.Fault{Reason: r.Reason, At: r.At, Allowed: r.Allowed})
	if err != nil {
		return err
	}
	return s.Err()
}

// receive asks for the blobs that the fake lacks. While it waits, others are served.
func (f *fake) receive(stream grpc.BidiStreamingServer[servicev1.AdmitRequest, servicev1.AdmitResponse], a *recordv1.Action) error {
	var wanted []string
	for _, b := range record.Brings(a) {
		if f.blobs[b.SHA256] == nil {
			wanted = append(wanted, b.SHA256)
		}
	}
	if f.lie.wanted != nil {
		wanted = f.lie.wanted(wanted)
	}
	f.mu.Unlock()
	defer f.mu.Lock()
	if err := stream.Send(&servicev1.AdmitResponse{Content: &servicev1.AdmitResponse_Wanted{Wanted: &servicev1.Wanted{Sha256: wanted}}}); err != nil {
		return err
	}
	for _, sum := range wanted {
		var b []byte
		for size := uint64(1); uint64(len(b)) < size; {
			m, err := stream.Recv()
			if err != nil {
				return err
			}
			if b == nil {
				if size = m.GetPart().GetSize(); m.GetPart().GetSha256() != sum {
					return status.Error(codes.InvalidArgument, "another blob than the one wanted")
				}
			}
			b = append(b, m.GetPart().GetData()...)
			if len(m.GetPart().GetData()) == 0 && size > 0 {
				return status.Error(codes.InvalidArgument, "an empty part")
			}
		}
		if HashHex(b) != sum {
			return status.Error(codes.InvalidArgument, "other bytes than their hash says")
		}
		f.mu.Lock()
		f.blobs[sum] = b
		f.mu.Unlock()
	}
	return nil
}

// tree is stored hashes in memory.
type tree []tlog.Hash

func (t tree) Hash(i int64) (tlog.Hash, error) { return t[i], nil }

func treeOf(told []*recordv1.Told) (t tree) {
	for i, e := range told {
		_, stored, _, err := ledger.Append(t, uint64(i), e.Entry)
		if err != nil {
			panic(err)
		}
		t = append(t, stored...)
	}
	return t
}

func rootOf(told []*recordv1.Told) tlog.Hash {
	root, err := ledger.Root(treeOf(told), uint64(len(told)))
	if err != nil {
		panic(err)
	}
	return root
}

func (f *fake) sign(told []*recordv1.Told) []byte {
	note, err := ledger.SignCheckpoint(ledger.Checkpoint{Origin: ledger.Origin(f.genesis), Size: uint64(len(told)), Root: rootOf(told)}, f.key)
	if err != nil {
		panic(err)
	}
	return note
}

func (f *fake) Head(context.Context, *servicev1.HeadRequest) (*servicev1.HeadResponse, error) {
	f.mu.Lock()
	defer f.mu.Unlock()
	note := f.sign(f.shown())
	if f.lie.note != nil {
		note = f.lie.note(note)
	}
	return &servicev1.HeadResponse{Checkpoint: note}, nil
}

// Entries sends three at a time, so that parts are put together.
func (f *fake) Entries(r *servicev1.EntriesRequest, s grpc.ServerStreamingServer[servicev1.EntriesResponse]) error {
	f.mu.Lock()
	told := f.shown()
	f.mu.Unlock()
	end := min(uint64(len(told)), r.GetEnd())
	for first := r.GetFirst(); first < end; first += 3 {
		if err := s.Send(&servicev1.EntriesResponse{First: first, Entries: told[first:min(end, first+3)]}); err != nil {
			return err
		}
	}
	return nil
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

func (f *fake) Download(r *servicev1.DownloadRequest, s grpc.ServerStreamingServer[servicev1.DownloadResponse]) error {
	f.mu.Lock()
	b, ok := f.blobs[r.GetSha256()]
	if f.lie.blob != nil {
		b = f.lie.blob(r.GetSha256(), slices.Clone(b))
	}
	f.mu.Unlock()
	if !ok {
		return status.Error(codes.NotFound, "no such blob")
	}
	return s.Send(&servicev1.DownloadResponse{Size: uint64(len(b)), Chunk: b})
}

func (f *fake) Condition(context.Context, *servicev1.ConditionRequest) (*servicev1.ConditionResponse, error) {
	f.mu.Lock()
	defer f.mu.Unlock()
	if f.lie.says == nil {
		return nil, status.Error(codes.Unimplemented, "unknown method Condition")
	}
	return f.lie.says(), nil
}

func (f *fake) Backup(_ *servicev1.BackupRequest, s grpc.ServerStreamingServer[servicev1.BackupResponse]) error {
	for _, part := range []string{"one ", "two ", "three"} {
		if err := s.Send(&servicev1.BackupResponse{Chunk: []byte(part)}); err != nil {
			return err
		}
	}
	return nil
}
