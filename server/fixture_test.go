package server

import (
	"bytes"
	"context"
	"crypto/ed25519"
	"crypto/rand"
	"crypto/sha256"
	"crypto/tls"
	"encoding/hex"
	"fmt"
	"log/slog"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/credentials"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/reflect/protoregistry"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	recordv1 "witnessmark/proto/witnessmark/record/v1"
	servicev1 "witnessmark/proto/witnessmark/service/v1"
	"witnessmark/store/signoff"
)

// workshop is a server on the loopback with its people, over real TLS.
type workshop struct {
	t    *testing.T
	dir  string
	srv  *Server
	logs *lockedBuffer
	keys map[string]ed25519.PrivateKey
	ids  int
	tune func(*Options)
	mu   sync.Mutex
}

type lockedBuffer struct {
	mu sync.Mutex
	b  bytes.Buffer
}

func (l *lockedBuffer) Write(p []byte) (int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.b.Write(p)
}

func (l *lockedBuffer) String() string {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.b.String()
}

// testKey is a key of its own for each name, the same in every run.
func testKey(name string) ed25519.PrivateKey {
	seed := sha256.Sum256([]byte("server test key " + name))
	return ed25519.NewKeyFromSeed(seed[:])
}

func publicOf(k ed25519.PrivateKey) ed25519.PublicKey { return k.Public().(ed25519.PublicKey) }

// newWorkshop starts a server whose only person is the lead.
func newWorkshop(t *testing.T) *workshop {
	t.Helper()
	w := &workshop{t: t, dir: filepath.Join(t.TempDir(), "data"), logs: &lockedBuffer{}, keys: map[string]ed25519.PrivateKey{"lead": testKey("lead")}}
	if _, err := Init(w.dir, "lead", publicOf(w.keys["lead"]), false); err != nil {
		t.Fatalf("init: %v", err)
	}
	w.start()
	t.Cleanup(func() { w.stop() })
	return w
}

// staffed is a workshop with a technician and a calibrator as well.
func staffed(t *testing.T) *workshop {
	w := newWorkshop(t)
	w.enrol("technician", "technician")
	w.enrol("calibrator", "calibrator")
	return w
}

func (w *workshop) start() {
	w.t.Helper()
	o := Options{Dir: w.dir, Listen: "127.0.0.1:0", Logger: slog.New(slog.NewTextHandler(w.logs, nil))}
	if w.tune != nil {
		w.tune(&o)
	}
	s, err := Start(o)
	if err != nil {
		w.t.Fatalf("start: %v", err)
	}
	w.srv = s
}

func (w *workshop) stop() {
	if w.srv == nil {
		return
	}
	if err := w.srv.Stop(); err != nil {
		w.t.Errorf("stop: %v", err)
	}
	w.srv = nil
}

func (w *workshop) restart() {
	w.t.Helper()
	w.stop()
	w.start()
}

// clientTLS is what a client's side of the connection needs; the server's key is pinned.
func (w *workshop) clientTLS(key ed25519.PrivateKey) *tls.Config {
	w.t.Helper()
	cert, err := selfSigned(key)
	if err != nil {
		w.t.Fatal(err)
	}
	want := publicOf(w.srv.folder.key)
	return &tls.Config{
		Certificates:       []tls.Certificate{cert},
		InsecureSkipVerify: true, // the key is pinned below; names mean nothing
		MinVersion:         tls.VersionTLS12,
		VerifyConnection: func(cs tls.ConnectionState) error {
			if got, ok := cs.PeerCertificates[0].PublicKey.(ed25519.PublicKey); !ok || !got.Equal(want) {
				return fmt.Errorf("not the server's key")
			}
			return nil
		},
	}
}

func (w *workshop) dial(config *tls.Config) *grpc.ClientConn {
	w.t.Helper()
	conn, err := grpc.NewClient("passthrough:///"+w.srv.Addr(), grpc.WithTransportCredentials(credentials.NewTLS(config)),
		grpc.WithDefaultCallOptions(grpc.MaxCallRecvMsgSize(16<<20)))
	if err != nil {
		w.t.Fatal(err)
	}
	w.t.Cleanup(func() { conn.Close() })
	return conn
}

// as is a connection with a person's key.
func (w *workshop) as(name string) *grpc.ClientConn {
	w.t.Helper()
	key, ok := w.keys[name]
	if !ok {
		key = testKey(name)
	}
	return w.dial(w.clientTLS(key))
}

func within(t *testing.T) context.Context {
	t.Helper()
	ctx, cancel := context.WithTimeout(context.Background(), 20*time.Second)
	t.Cleanup(cancel)
	return ctx
}

// action fills in what every action carries, from the record as it stands.
func (w *workshop) action(a *recordv1.Action) *recordv1.Action {
	w.t.Helper()
	w.mu.Lock()
	w.ids++
	a.RequestId = fmt.Sprintf("request-%d-%s", w.ids, rand.Text())
	w.mu.Unlock()
	a.Time = time.Now().UTC().Format(time.RFC3339)
	w.srv.core.read(func(h *history) {
		a.Genesis = h.state.GenesisSHA256
		a.Seen = &recordv1.Seen{Size: uint32(h.state.Size), Root: hex.EncodeToString(h.state.Roots[h.state.Size][:])}
		a.ActsOn, _ = h.state.Target(a)
	})
	return a
}

func (w *workshop) seal(name string, a *recordv1.Action) []byte {
	w.t.Helper()
	env, err := signoff.Seal(a, w.keys[name])
	if err != nil {
		w.t.Fatalf("seal: %v", err)
	}
	return env
}

// methodFor is the method that takes a kind of action, as the options say.
func methodFor(t *testing.T, kind string) protoreflect.MethodDescriptor {
	t.Helper()
	for _, m := range allMethods(t) {
		if access, ok := proto.GetExtension(m.Options(), servicev1.E_Access).(*servicev1.Access); ok && access.GetAction() == kind {
			return m
		}
	}
	t.Fatalf("no method takes a %s", kind)
	return nil
}

// allMethods are the methods of the project's own services.
func allMethods(t *testing.T) (out []protoreflect.MethodDescriptor) {
	t.Helper()
	protoregistry.GlobalFiles.RangeFilesByPackage("witnessmark.service.v1", func(fd protoreflect.FileDescriptor) bool {
		for i := range fd.Services().Len() {
			for j := range fd.Services().Get(i).Methods().Len() {
				out = append(out, fd.Services().Get(i).Methods().Get(j))
			}
		}
		return true
	})
	return out
}

func fullName(m protoreflect.MethodDescriptor) string {
	return "/" + string(m.Parent().FullName()) + "/" + string(m.Name())
}

func newMessage(t *testing.T, d protoreflect.MessageDescriptor) proto.Message {
	t.Helper()
	mt, err := protoregistry.GlobalTypes.FindMessageByName(d.FullName())
	if err != nil {
		t.Fatal(err)
	}
	return mt.New().Interface()
}

// bring sends an envelope with a person's connection to the method for a kind.
func (w *workshop) bring(name, kind string, envelope []byte) (*servicev1.Admitted, error) {
	w.t.Helper()
	m := methodFor(w.t, kind)
	req, resp := newMessage(w.t, m.Input()), newMessage(w.t, m.Output())
	req.ProtoReflect().Set(m.Input().Fields().ByName("envelope"), protoreflect.ValueOfBytes(envelope))
	if err := w.as(name).Invoke(within(w.t), fullName(m), req, resp); err != nil {
		return nil, err
	}
	return resp.ProtoReflect().Get(m.Output().Fields().ByName("admitted")).Message().Interface().(*servicev1.Admitted), nil
}

// try signs and sends an action in one go.
func (w *workshop) try(name string, a *recordv1.Action) error {
	w.t.Helper()
	_, err := w.bring(name, signoff.Kind(a), w.seal(name, w.action(a)))
	return err
}

func (w *workshop) must(name string, a *recordv1.Action) {
	w.t.Helper()
	if err := w.try(name, a); err != nil {
		w.t.Fatalf("%s by %s: %v (%s)", signoff.Kind(a), name, err, faultOf(err))
	}
}

func (w *workshop) enrol(name string, roles ...string) {
	w.t.Helper()
	w.keys[name] = testKey(name)
	w.must("lead", enrolAction(name, w.keys[name], roles...))
}

func enrolAction(name string, key ed25519.PrivateKey, roles ...string) *recordv1.Action {
	return &recordv1.Action{Body: &recordv1.Action_Enrol{Enrol: &recordv1.Enrol{
		Name: name, Roles: roles, PublicKey: signoff.FormatPublicKey(publicOf(key)),
	}}}
}

func retireAction(name string) *recordv1.Action {
	return &recordv1.Action{Body: &recordv1.Action_Retire{Retire: &recordv1.Retire{Name: name}}}
}

// upload stages bytes and answers with their hash.
func (w *workshop) upload(name string, data []byte) string {
	w.t.Helper()
	sum := sha256.Sum256(data)
	sha := hex.EncodeToString(sum[:])
	if _, err := w.tryUpload(name, uint64(len(data)), sha, data); err != nil {
		w.t.Fatalf("upload: %v", err)
	}
	return sha
}

func (w *workshop) tryUpload(name string, size uint64, sha string, data []byte) (*servicev1.UploadResponse, error) {
	w.t.Helper()
	stream, err := servicev1.NewBlobsClient(w.as(name)).Upload(within(w.t))
	if err != nil {
		return nil, err
	}
	_ = stream.Send(&servicev1.UploadRequest{Part: &servicev1.UploadRequest_Header{Header: &servicev1.UploadHeader{Size: size, Sha256: sha}}})
	for len(data) > 0 {
		n := min(len(data), chunkSize)
		if stream.Send(&servicev1.UploadRequest{Part: &servicev1.UploadRequest_Chunk{Chunk: data[:n]}}) != nil {
			break // the answer says why
		}
		data = data[n:]
	}
	return stream.CloseAndRecv()
}

func (w *workshop) uploadMessage(name string, m proto.Message) string {
	w.t.Helper()
	b, err := proto.MarshalOptions{Deterministic: true}.Marshal(m)
	if err != nil {
		w.t.Fatal(err)
	}
	return w.upload(name, b)
}

// faultOf is the machine-readable detail of a refusal.
func faultOf(err error) *servicev1.Fault {
	for _, d := range status.Convert(err).Details() {
		if f, ok := d.(*servicev1.Fault); ok {
			return f
		}
	}
	return &servicev1.Fault{}
}

// wantFault checks a refusal: code, stable word, one line that says something.
func wantFault(t *testing.T, err error, code codes.Code, reason string) {
	t.Helper()
	st := status.Convert(err)
	if st.Code() != code || faultOf(err).GetReason() != reason {
		t.Fatalf("got %s %q (%v), want %s %q", st.Code(), faultOf(err).GetReason(), err, code, reason)
	}
	if st.Message() == "" || strings.Contains(st.Message(), "\n") {
		t.Fatalf("message %q is not one line", st.Message())
	}
}

func (w *workshop) size() (n uint64) {
	w.srv.core.read(func(h *history) { n = h.state.Size })
	return n
}

func wholeRange(start, size uint32) []*calibrationv1.AddressRange {
	return []*calibrationv1.AddressRange{{Start: start, End: start + size}}
}

// unpinned is a client's side that asks nothing of the server's key.
func unpinned(cert tls.Certificate) *tls.Config {
	return &tls.Config{Certificates: []tls.Certificate{cert}, InsecureSkipVerify: true, MinVersion: tls.VersionTLS13}
}
