package server

import (
	"crypto"
	"crypto/ecdsa"
	"crypto/ed25519"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/rsa"
	"crypto/tls"
	"crypto/x509"
	"io"
	"math/big"
	"net"
	"regexp"
	"strings"
	"testing"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	healthv1 "google.golang.org/grpc/health/grpc_health_v1"
	"google.golang.org/grpc/status"

	servicev1 "witnessmark/proto/witnessmark/service/v1"
)

// handshake connects without gRPC and reads, since TLS 1.3 tells a client that its
// certificate was refused only then.
func handshake(addr string, config *tls.Config) error {
	conn, err := tls.DialWithDialer(&net.Dialer{Timeout: 5 * time.Second}, "tcp", addr, config)
	if err != nil {
		return err
	}
	defer conn.Close()
	_ = conn.SetReadDeadline(time.Now().Add(5 * time.Second))
	_, err = conn.Read(make([]byte, 1))
	return err
}

func TestConnections(t *testing.T) {
	w := newWorkshop(t)
	good := func() *tls.Config { return clientTLS(t, w.keys["lead"], publicOf(w.srv.home.key)) }
	if err := handshake(w.srv.Addr(), good()); err != nil { // the server's HTTP/2 settings arrive
		t.Fatalf("a person's key: %v", err)
	}
	none := good()
	none.Certificates = nil
	if err := handshake(w.srv.Addr(), none); err == nil {
		t.Error("a connection without a client certificate was accepted")
	}
	old := good()
	old.MaxVersion = tls.VersionTLS12
	if err := handshake(w.srv.Addr(), old); err == nil {
		t.Error("TLS 1.2 was accepted")
	}
	other := good()
	other.Certificates = []tls.Certificate{ecdsaCertificate(t)}
	if err := handshake(w.srv.Addr(), other); err == nil {
		t.Error("a client key that is not Ed25519 was accepted")
	}
	small := good()
	small.Certificates = []tls.Certificate{smallOrderCertificate(t)}
	if err := handshake(w.srv.Addr(), small); err == nil {
		t.Error("a point of small order was accepted as a client key")
	}
	conn, err := tls.Dial("tcp", w.srv.Addr(), good())
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close()
	if v := conn.ConnectionState().Version; v != tls.VersionTLS13 {
		t.Errorf("TLS version %x, want 1.3", v)
	}
}

// smallOrderCertificate carries the neutral point, under which signatures can be made without a key:
// with R its own neutral point and S zero the equation holds whatever was signed.
func smallOrderCertificate(t testing.TB) tls.Certificate {
	t.Helper()
	return certificate(t, &forger{public: append([]byte{1}, make([]byte, 31)...)}, time.Now().Add(time.Hour))
}

type forger struct{ public ed25519.PublicKey }

func (f *forger) Public() crypto.PublicKey { return f.public }

func (f *forger) Sign(io.Reader, []byte, crypto.SignerOpts) ([]byte, error) {
	return append([]byte{1}, make([]byte, 63)...), nil
}

func ecdsaCertificate(t testing.TB) tls.Certificate {
	t.Helper()
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	return certificate(t, key, time.Now().Add(time.Hour))
}

func rsaCertificate(t testing.TB) tls.Certificate {
	t.Helper()
	key, err := rsa.GenerateKey(rand.Reader, 2048)
	if err != nil {
		t.Fatal(err)
	}
	return certificate(t, key, time.Now().Add(time.Hour))
}

func expiredCertificate(t testing.TB, key ed25519.PrivateKey) tls.Certificate {
	t.Helper()
	return certificate(t, key, time.Now().Add(-24*time.Hour))
}

func certificate(t testing.TB, key crypto.Signer, until time.Time) tls.Certificate {
	t.Helper()
	template := &x509.Certificate{SerialNumber: big.NewInt(1), NotBefore: until.Add(-time.Hour), NotAfter: until}
	der, err := x509.CreateCertificate(rand.Reader, template, template, key.Public(), key)
	if err != nil {
		t.Fatal(err)
	}
	return tls.Certificate{Certificate: [][]byte{der}, PrivateKey: key}
}

// TestHealth: whoever watches is enrolled too; nobody else comes past the handshake, and why is counted.
func TestHealth(t *testing.T) {
	w := newWorkshop(t)
	got, err := healthv1.NewHealthClient(w.as("lead")).Check(within(t), &healthv1.HealthCheckRequest{})
	if err != nil || got.GetStatus() != healthv1.HealthCheckResponse_SERVING {
		t.Fatalf("health: %v %v", got, err)
	}
	_, err = healthv1.NewHealthClient(w.as("stranger")).Check(within(t), &healthv1.HealthCheckRequest{})
	if status.Code(err) != codes.Unavailable || !strings.Contains(err.Error(), "bad certificate") {
		t.Errorf("a stranger: %v", err)
	}
	for w.figure(`witnessmark_handshakes_refused_total{reason="not-enrolled"}`) == 0 { // counted a moment later
		time.Sleep(time.Millisecond)
	}
}

// TestCallsAreLogged: one line a call, with who, what, how it went and how long it took.
func TestCallsAreLogged(t *testing.T) {
	w := newWorkshop(t)
	_ = callEmpty(t, w.as("lead"), "/witnessmark.service.v1.People/Get", grpc.MethodInfo{})
	_, err := w.bring("lead", []byte("secret nonsense"))
	wantFault(t, err, codes.InvalidArgument, "bad-envelope")
	logs := w.logs.String()
	for _, want := range []string{
		`msg=call method=/witnessmark.service.v1.People/Get code=OK took=\S+ key=SHA256:\S+`,
		`msg=call method=/witnessmark.service.v1.Record/Admit code=InvalidArgument took=\S+ key=SHA256:\S+ reason=bad-envelope`,
	} {
		if !regexp.MustCompile(want).MatchString(logs) {
			t.Errorf("no line %s in\n%s", want, logs)
		}
	}
	if strings.Contains(logs, "secret nonsense") {
		t.Error("the log holds what was in a request")
	}
}

// TestPersonIsLookedUpAtEveryCall: an open connection is worth nothing once its person was
// retired, or has another key.
func TestPersonIsLookedUpAtEveryCall(t *testing.T) {
	w := staffed(t)
	people := servicev1.NewPeopleClient(w.as("technician"))
	got, err := people.Get(within(t), &servicev1.PeopleGetRequest{})
	if err != nil || got.GetPerson().GetName() != "technician" {
		t.Fatalf("who am I: %v %v", got, err)
	}
	w.must("lead", enrolAction("technician", testKey("technician's new key"), "technician"))
	_, err = people.Get(within(t), &servicev1.PeopleGetRequest{})
	wantFault(t, err, codes.Unauthenticated, "not-enrolled")
	w.keys["new"] = testKey("technician's new key")
	if _, err := servicev1.NewPeopleClient(w.as("new")).Get(within(t), &servicev1.PeopleGetRequest{}); err != nil {
		t.Fatalf("with the new key: %v", err)
	}
}

// TestRetiredStreamsEnd: a watcher is cut off when it is retired; another one goes on.
func TestRetiredStreamsEnd(t *testing.T) {
	w := staffed(t)
	watch := func(name string) servicev1.Record_WatchClient {
		s, err := servicev1.NewRecordClient(w.as(name)).Watch(within(t), &servicev1.WatchRequest{})
		if err != nil {
			t.Fatal(err)
		}
		if _, err := s.Recv(); err != nil {
			t.Fatalf("first checkpoint: %v", err)
		}
		return s
	}
	out, stays := watch("technician"), watch("calibrator")
	half := begin(t, w.as("technician")) // says nothing more
	w.must("lead", retireAction("technician"))
	var err error
	for err == nil {
		_, err = out.Recv()
	}
	wantFault(t, err, codes.Unauthenticated, "not-enrolled")
	_, err = half.Recv()
	wantFault(t, err, codes.Unauthenticated, "not-enrolled")
	if _, err := stays.Recv(); err != nil {
		t.Fatalf("another person's stream: %v", err)
	}
}

// TestStopEndsWatchers: a clean stop does not wait for those who only watch; if it did, this would
// not end.
func TestStopEndsWatchers(t *testing.T) {
	w := newWorkshop(t)
	w.tune = func(o *Options) { o.StopWithin = time.Hour }
	w.restart()
	s, err := servicev1.NewRecordClient(w.as("lead")).Watch(within(t), &servicev1.WatchRequest{})
	if err != nil {
		t.Fatal(err)
	}
	if _, err := s.Recv(); err != nil {
		t.Fatal(err)
	}
	if err := w.srv.Stop(); err != nil {
		t.Error(err)
	}
	if _, err := s.Recv(); status.Code(err) != codes.Unavailable {
		t.Errorf("the watcher got %v, want unavailable", err)
	}
}

// TestStopIsBounded: neither a connection that never says a word nor an upload that never
// ends keeps the server from stopping.
func TestStopIsBounded(t *testing.T) {
	w := newWorkshop(t)
	w.tune = func(o *Options) { o.StopWithin = 200 * time.Millisecond }
	w.restart()
	silent, err := net.Dial("tcp", w.srv.Addr())
	if err != nil {
		t.Fatal(err)
	}
	defer silent.Close()
	half, err := tls.Dial("tcp", w.srv.Addr(), clientTLS(t, w.keys["lead"], publicOf(w.srv.home.key)))
	if err != nil {
		t.Fatal(err)
	}
	defer half.Close()
	begin(t, w.as("lead"))
	if err := w.srv.Stop(); err != nil { // it would not end
		t.Error(err)
	}
}
