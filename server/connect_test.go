package server

import (
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/tls"
	"crypto/x509"
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
	good := func() *tls.Config {
		c := w.clientTLS(w.keys["lead"])
		c.NextProtos = []string{"h2"}
		return c
	}
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
	conn, err := tls.Dial("tcp", w.srv.Addr(), good())
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close()
	if v := conn.ConnectionState().Version; v != tls.VersionTLS13 {
		t.Errorf("TLS version %x, want 1.3", v)
	}
}

func ecdsaCertificate(t *testing.T) tls.Certificate {
	t.Helper()
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	template := &x509.Certificate{SerialNumber: big.NewInt(1), NotAfter: time.Now().Add(time.Hour)}
	der, err := x509.CreateCertificate(rand.Reader, template, template, key.Public(), key)
	if err != nil {
		t.Fatal(err)
	}
	return tls.Certificate{Certificate: [][]byte{der}, PrivateKey: key}
}

func TestHealthWithoutBeingEnrolled(t *testing.T) {
	w := newWorkshop(t)
	got, err := healthv1.NewHealthClient(w.as("stranger")).Check(within(t), &healthv1.HealthCheckRequest{})
	if err != nil || got.GetStatus() != healthv1.HealthCheckResponse_SERVING {
		t.Fatalf("health: %v %v", got, err)
	}
	_, err = servicev1.NewPeopleClient(w.as("stranger")).WhoAmI(within(t), &servicev1.WhoAmIRequest{})
	wantFault(t, err, codes.Unauthenticated, "not-enrolled")
}

// TestCallsAreLogged: one line a call, with who, what, how it went and how long it took.
func TestCallsAreLogged(t *testing.T) {
	w := newWorkshop(t)
	_ = callEmpty(t, w.as("lead"), "/witnessmark.service.v1.People/WhoAmI", grpc.MethodInfo{})
	_, err := w.bring("lead", "enrol", []byte("secret nonsense"))
	wantFault(t, err, codes.InvalidArgument, "bad-envelope")
	logs := w.logs.String()
	for _, want := range []string{
		`msg=call method=/witnessmark.service.v1.People/WhoAmI code=OK took=\S+ person=lead`,
		`msg=call method=/witnessmark.service.v1.People/Enrol code=InvalidArgument took=\S+ person=lead reason=bad-envelope`,
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
	got, err := people.WhoAmI(within(t), &servicev1.WhoAmIRequest{})
	if err != nil || got.GetPerson().GetName() != "technician" {
		t.Fatalf("who am I: %v %v", got, err)
	}
	w.must("lead", enrolAction("technician", testKey("technician's new key"), "technician"))
	_, err = people.WhoAmI(within(t), &servicev1.WhoAmIRequest{})
	wantFault(t, err, codes.Unauthenticated, "not-enrolled")
	w.keys["technician"] = testKey("technician's new key")
	if _, err := servicev1.NewPeopleClient(w.as("technician")).WhoAmI(within(t), &servicev1.WhoAmIRequest{}); err != nil {
		t.Fatalf("with the new key: %v", err)
	}
}

// TestRetiredStreamsEnd: a watcher is cut off when it is retired; another one goes on.
func TestRetiredStreamsEnd(t *testing.T) {
	w := staffed(t)
	watch := func(name string) servicev1.Ledger_WatchClient {
		s, err := servicev1.NewLedgerClient(w.as(name)).Watch(within(t), &servicev1.WatchRequest{})
		if err != nil {
			t.Fatal(err)
		}
		if _, err := s.Recv(); err != nil {
			t.Fatalf("first checkpoint: %v", err)
		}
		return s
	}
	out, stays := watch("technician"), watch("calibrator")
	upload, err := servicev1.NewBlobsClient(w.as("technician")).Upload(within(t))
	if err != nil {
		t.Fatal(err)
	}
	header := &servicev1.UploadHeader{Size: 10, Sha256: "0000000000000000000000000000000000000000000000000000000000000000"}
	if err := upload.Send(&servicev1.UploadRequest{Part: &servicev1.UploadRequest_Header{Header: header}}); err != nil {
		t.Fatal(err)
	}
	w.must("lead", retireAction("technician"))
	for {
		if _, err = out.Recv(); err != nil {
			break
		}
	}
	wantFault(t, err, codes.Unauthenticated, "not-enrolled")
	err = upload.RecvMsg(&servicev1.UploadResponse{}) // nothing more was sent: the server ended it
	wantFault(t, err, codes.Unauthenticated, "not-enrolled")
	if _, err := stays.Recv(); err != nil {
		t.Fatalf("another person's stream: %v", err)
	}
}

// TestStopEndsWatchers: a clean stop does not wait for those who only watch.
func TestStopEndsWatchers(t *testing.T) {
	w := newWorkshop(t)
	s, err := servicev1.NewLedgerClient(w.as("lead")).Watch(within(t), &servicev1.WatchRequest{})
	if err != nil {
		t.Fatal(err)
	}
	if _, err := s.Recv(); err != nil {
		t.Fatal(err)
	}
	start := time.Now()
	w.stop()
	if took := time.Since(start); took >= stopWithin {
		t.Errorf("the stop took %s", took)
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
	half, err := tls.Dial("tcp", w.srv.Addr(), w.clientTLS(w.keys["lead"]))
	if err != nil {
		t.Fatal(err)
	}
	defer half.Close()
	up, err := servicev1.NewBlobsClient(w.as("lead")).Upload(within(t))
	if err != nil {
		t.Fatal(err)
	}
	header := &servicev1.UploadHeader{Size: 10, Sha256: hashOf(nil)}
	if err := up.Send(&servicev1.UploadRequest{Part: &servicev1.UploadRequest_Header{Header: header}}); err != nil {
		t.Fatal(err)
	}
	start := time.Now()
	w.stop()
	if took := time.Since(start); took > 5*time.Second {
		t.Errorf("the stop took %s", took)
	}
}

// TestActionsOfOthers: people bring their own actions, of the kind the method takes.
func TestActionsOfOthers(t *testing.T) {
	w := staffed(t)
	w.enrol("second lead", "lead")
	env := w.seal("lead", w.action(enrolAction("somebody", testKey("somebody"), "technician")))
	_, err := w.bring("second lead", "enrol", env)
	wantFault(t, err, codes.PermissionDenied, "not-the-signer")
	_, err = w.bring("lead", "retire", env)
	wantFault(t, err, codes.InvalidArgument, "wrong-kind")
	env[len(env)/2] ^= 1
	_, err = w.bring("lead", "enrol", env)
	wantFault(t, err, codes.InvalidArgument, "bad-envelope")
	_, err = w.bring("lead", "enrol", nil)
	wantFault(t, err, codes.InvalidArgument, "bad-envelope")
	if w.size() != 4 {
		t.Errorf("%d entries, want the 4 that were admitted", w.size())
	}
}
