package server

import (
	"bytes"
	"context"
	"crypto/ed25519"
	"crypto/rand"
	"crypto/sha256"
	"crypto/tls"
	"encoding/hex"
	"errors"
	"fmt"
	"log/slog"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/credentials"
	"google.golang.org/grpc/status"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
	servicev1 "witnessmark/proto/witnessmark/service/v1"
	"witnessmark/store"
	"witnessmark/store/postgres/pgtest"
	"witnessmark/store/record"
	"witnessmark/store/signoff"
)

// workshop is a server on the loopback with its people, over real TLS.
type workshop struct {
	testing.TB
	place Place
	dir   string // of the place
	srv   *Server
	logs  *lockedBuffer
	keys  map[string]ed25519.PrivateKey
	tune  func(*Options)

	mu    sync.Mutex
	conns map[string]*grpc.ClientConn // by name, to the server that runs now
	files map[string][]byte           // what people have on their machines, by SHA-256
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

func hashOf(b []byte) string {
	s := sha256.Sum256(b)
	return hex.EncodeToString(s[:])
}

// in is a folder that holds everything.
func in(dir string) Place { return Place{Dir: dir} }

// onBoth runs a test on a ledger in a folder, and on one in a database.
func onBoth(t *testing.T, fn func(t *testing.T, p Place)) {
	t.Run("folder", func(t *testing.T) { fn(t, newFolderPlace(t)) })
	t.Run("database", func(t *testing.T) { fn(t, newDatabasePlace(t)) })
}

func newFolderPlace(t testing.TB) Place { return in(filepath.Join(t.TempDir(), "data")) }

func newDatabasePlace(t testing.TB) Place {
	p := newFolderPlace(t)
	p.Database = pgtest.URL(t)
	return p
}

// newWorkshop starts a server whose only person is the lead.
func newWorkshop(t testing.TB) *workshop {
	t.Helper()
	return newWorkshopIn(t, newFolderPlace(t))
}

func newWorkshopIn(t testing.TB, p Place) *workshop {
	t.Helper()
	w := &workshop{TB: t, place: p, dir: p.Dir, logs: &lockedBuffer{}, files: map[string][]byte{}}
	w.keys = map[string]ed25519.PrivateKey{}
	for _, name := range []string{"lead", "technician", "calibrator"} {
		w.keys[name] = testKey(name)
	}
	if _, err := p.Init("lead", publicOf(w.keys["lead"]), false); err != nil {
		t.Fatalf("init: %v", err)
	}
	w.start()
	t.Cleanup(w.stop)
	return w
}

// staffed is a workshop with a technician and a calibrator as well.
func staffed(t testing.TB) *workshop {
	t.Helper()
	return staffedIn(t, newFolderPlace(t))
}

func staffedIn(t testing.TB, p Place) *workshop {
	t.Helper()
	w := newWorkshopIn(t, p)
	w.enrol("technician", "technician")
	w.enrol("calibrator", "calibrator")
	return w
}

// beside is another server of the same database, on a machine of its own.
func (w *workshop) beside() *workshop {
	w.Helper()
	p := newFolderPlace(w)
	p.Database = w.place.Database
	if err := errors.Join(os.Mkdir(p.Dir, 0o700), os.WriteFile(filepath.Join(p.Dir, keyFile), fileBytes(w, filepath.Join(w.dir, keyFile)), 0o600)); err != nil {
		w.Fatal(err)
	}
	other := &workshop{TB: w.TB, place: p, dir: p.Dir, logs: &lockedBuffer{}, files: w.files, keys: w.keys}
	other.start()
	w.Cleanup(other.stop)
	return other
}

func (w *workshop) start() {
	w.Helper()
	o := Options{Place: Place{Dir: w.dir, Database: w.place.Database, Log: slog.New(slog.NewTextHandler(w.logs, nil))}, Listen: "127.0.0.1:0"}
	if w.tune != nil {
		w.tune(&o)
	}
	s, err := Start(o)
	if err != nil {
		w.Fatalf("start: %v", err)
	}
	w.srv, w.conns = s, map[string]*grpc.ClientConn{}
}

func (w *workshop) stop() {
	if w.srv == nil {
		return
	}
	for _, c := range w.conns {
		c.Close()
	}
	if err := w.srv.Stop(); err != nil {
		w.Errorf("stop: %v", err)
	}
	w.srv = nil
}

func (w *workshop) restart() {
	w.Helper()
	w.stop()
	w.start()
}

// clientTLS is what a client's side of the connection needs; the server's key is pinned.
func clientTLS(t testing.TB, key ed25519.PrivateKey, server ed25519.PublicKey) *tls.Config {
	t.Helper()
	cert, err := selfSigned(key)
	if err != nil {
		t.Fatal(err)
	}
	return &tls.Config{
		Certificates:       []tls.Certificate{cert},
		InsecureSkipVerify: true, // the key is pinned below; names mean nothing
		NextProtos:         []string{"h2"},
		VerifyConnection: func(cs tls.ConnectionState) error {
			if got, ok := cs.PeerCertificates[0].PublicKey.(ed25519.PublicKey); !ok || !got.Equal(server) {
				return fmt.Errorf("not the server's key")
			}
			return nil
		},
	}
}

// as is a connection with a person's key.
func (w *workshop) as(name string) *grpc.ClientConn {
	w.Helper()
	w.mu.Lock()
	defer w.mu.Unlock()
	if c := w.conns[name]; c != nil {
		return c
	}
	key, ok := w.keys[name]
	if !ok {
		key = testKey(name)
	}
	w.conns[name] = dial(w.TB, w.srv.Addr(), key, publicOf(w.srv.home.key))
	return w.conns[name]
}

func dial(t testing.TB, addr string, key ed25519.PrivateKey, server ed25519.PublicKey) *grpc.ClientConn {
	t.Helper()
	return dialWith(t, addr, clientTLS(t, key, server))
}

func dialWith(t testing.TB, addr string, config *tls.Config) *grpc.ClientConn {
	t.Helper()
	c, err := grpc.NewClient("passthrough:///"+addr, grpc.WithTransportCredentials(credentials.NewTLS(config)),
		grpc.WithDefaultCallOptions(grpc.MaxCallRecvMsgSize(16<<20)))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { c.Close() })
	return c
}

func within(t testing.TB) context.Context {
	t.Helper()
	ctx, cancel := context.WithTimeout(context.Background(), time.Minute)
	t.Cleanup(cancel)
	return ctx
}

// look runs fn on the server's record.
func (w *workshop) look(fn func(s *record.State)) {
	w.Helper()
	if err := record.View(w.srv.home.engine, func(s *record.State) error { fn(s); return nil }); err != nil {
		w.Error(err)
	}
}

func (w *workshop) size() (n uint64) {
	w.look(func(s *record.State) { n = s.Size() })
	return n
}

// carry fills in what every action carries, from the record as it stands.
func carry(s *record.State, a *recordv1.Action) *recordv1.Action {
	a.RequestId = rand.Text()
	a.Time = time.Now().UTC().Format(time.RFC3339)
	a.Genesis = s.GenesisSHA256()
	root := s.Root(s.Size())
	a.Seen = &recordv1.Seen{Size: uint32(s.Size()), Root: hex.EncodeToString(root[:])}
	a.ActsOn, _ = s.Target(a)
	return a
}

func (w *workshop) carry(a *recordv1.Action) *recordv1.Action {
	w.Helper()
	w.look(func(s *record.State) { carry(s, a) })
	return a
}

func (w *workshop) seal(name string, a *recordv1.Action) []byte {
	w.Helper()
	env, err := signoff.Seal(a, w.keys[name])
	if err != nil {
		w.Fatalf("seal: %v", err)
	}
	return env
}

// bringing is one call of Admit, step by step.
type bringing struct {
	servicev1.Record_AdmitClient
	cancel context.CancelFunc
}

func begin(t testing.TB, conn *grpc.ClientConn) *bringing {
	t.Helper()
	b, err := tryBegin(within(t), conn)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(b.cancel)
	return b
}

func tryBegin(ctx context.Context, conn *grpc.ClientConn) (*bringing, error) {
	ctx, cancel := context.WithCancel(ctx)
	s, err := servicev1.NewRecordClient(conn).Admit(ctx)
	if err != nil {
		cancel()
	}
	return &bringing{s, cancel}, err
}

func (b *bringing) action(envelope []byte, openings ...*recordv1.Opening) {
	_ = b.Send(&servicev1.AdmitRequest{Content: &servicev1.AdmitRequest_Action{Action: &servicev1.SignedAction{Envelope: envelope, Openings: openings}}})
}

func (b *bringing) part(p *servicev1.BlobPart) {
	_ = b.Send(&servicev1.AdmitRequest{Content: &servicev1.AdmitRequest_Part{Part: p}})
}

// blob sends bytes in parts.
func (b *bringing) blob(data []byte) {
	p := &servicev1.BlobPart{Sha256: hashOf(data), Size: uint64(len(data))}
	for len(data) > 0 {
		n := min(len(data), chunkBytes)
		p.Data, data = data[:n], data[n:]
		b.part(p)
		p = &servicev1.BlobPart{}
	}
}

// bring sends an envelope, its openings, and whatever of the files is wanted; it answers with the
// entry, and what was wanted.
func bring(t testing.TB, conn *grpc.ClientConn, files map[string][]byte, envelope []byte, openings ...*recordv1.Opening) (*servicev1.Admitted, []string, error) {
	t.Helper()
	b, err := tryBegin(within(t), conn)
	if err != nil {
		return nil, nil, err
	}
	defer b.cancel()
	b.action(envelope, openings...)
	m, err := b.Recv()
	if err != nil || m.GetAdmitted() != nil {
		return m.GetAdmitted(), nil, err
	}
	wanted := m.GetWanted().GetSha256()
	for _, sha := range wanted {
		data, ok := files[sha]
		if !ok {
			return nil, wanted, fmt.Errorf("the server wants %s, which nobody has", sha)
		}
		b.blob(data)
	}
	m, err = b.Recv()
	return m.GetAdmitted(), wanted, err
}

func (w *workshop) bring(name string, envelope []byte, openings ...*recordv1.Opening) (*servicev1.Admitted, error) {
	w.Helper()
	a, _, err := bring(w.TB, w.as(name), w.files, envelope, openings...)
	return a, err
}

// try signs and brings an action in one go.
func (w *workshop) try(name string, a *recordv1.Action, openings ...*recordv1.Opening) error {
	w.Helper()
	_, err := w.bring(name, w.seal(name, w.carry(a)), openings...)
	return err
}

func (w *workshop) must(name string, a *recordv1.Action, openings ...*recordv1.Opening) {
	w.Helper()
	if err := w.try(name, a, openings...); err != nil {
		w.Fatalf("%s by %s: %v (%s)", signoff.Kind(a), name, err, faultOf(err))
	}
}

func (w *workshop) enrol(name string, roles ...string) {
	w.Helper()
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
func wantFault(t testing.TB, err error, code codes.Code, reason string) {
	t.Helper()
	st := status.Convert(err)
	if st.Code() != code || faultOf(err).GetReason() != reason {
		t.Fatalf("got %s %q (%v), want %s %q", st.Code(), faultOf(err).GetReason(), err, code, reason)
	}
	if st.Message() == "" || strings.Contains(st.Message(), "\n") {
		t.Fatalf("message %q is not one line", st.Message())
	}
}

// quiet waits until no stream is under way, and room that was held for one was given back.
func (w *workshop) quiet() {
	w.Helper()
	for end := time.Now().Add(30 * time.Second); ; time.Sleep(time.Millisecond) {
		w.srv.core.mu.RLock()
		open := len(w.srv.core.streams)
		w.srv.core.mu.RUnlock()
		held := w.srv.spool.held.total()
		if open == 0 && held == 0 {
			return
		}
		if time.Now().After(end) {
			w.Fatalf("%d streams are open, and room for %d bytes is held", open, held)
		}
	}
}

// leavesNothing waits until no action is under way: nothing is spooled then, and no blob is there
// that no entry names.
func (w *workshop) leavesNothing() {
	w.Helper()
	w.quiet()
	names, err := os.ReadDir(w.srv.home.spool())
	if err != nil || len(names) > 0 {
		w.Errorf("spooled: %v %v", names, err)
	}
	w.well()
}

// well has the store checked whole, as it is.
func (w *workshop) well() *Checked {
	w.Helper()
	out, err := checkStore(w.srv.home.engine)
	if err != nil || len(out.Found) > 0 {
		w.Fatalf("check: %v; found %q", err, out.Found)
	}
	return out
}

// damage writes behind the record's back.
func (w *workshop) damage(fn func(store.WriteTx) error) {
	w.Helper()
	if err := w.srv.home.engine.Update(fn); err != nil {
		w.Fatal(err)
	}
}

func fileBytes(t testing.TB, path string) []byte {
	t.Helper()
	b, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	return b
}
