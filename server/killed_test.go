package server

import (
	"context"
	"crypto/ed25519"
	"encoding/hex"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"sync"
	"testing"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/credentials"

	servicev1 "witnessmark/proto/witnessmark/service/v1"
	"witnessmark/store/record"
	"witnessmark/store/signoff"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
)

// servedDir makes the test binary a server of that folder: see TestKilledWhileWriting.
const servedDir = "WITNESSMARK_TEST_SERVE"

func TestMain(m *testing.M) {
	if dir := os.Getenv(servedDir); dir != "" {
		s, err := Start(Options{Dir: dir, Listen: "127.0.0.1:0"})
		if err != nil {
			fmt.Fprintln(os.Stderr, err)
			os.Exit(2)
		}
		fmt.Println(s.Addr())
		select {} // until it is killed
	}
	os.Exit(m.Run())
}

// TestKilledWhileWriting kills a server in the middle of its work, several times. Whatever
// it answered is in the ledger afterwards, and check finds nothing. This shows that answers
// come after commits and that a half-done one is undone; whether the disk keeps what was
// synced, no killed process can show.
func TestKilledWhileWriting(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "data")
	lead := testKey("lead")
	if _, err := Init(dir, "lead", publicOf(lead), false); err != nil {
		t.Fatal(err)
	}
	answered := map[uint64]string{}
	for round := range 3 {
		killOnce(t, dir, lead, round, answered)
		out, err := Check(dir)
		if err != nil || len(out.Found) > 0 {
			t.Fatalf("round %d: check found %v (%v)", round, out, err)
		}
		if out.Entries < uint64(len(answered)+1) {
			t.Fatalf("round %d: %d entries, %d were answered", round, out.Entries, len(answered))
		}
	}
	if len(answered) < 3+8+13 {
		t.Fatalf("%d were answered before the kills", len(answered))
	}
	s, err := Start(Options{Dir: dir, Listen: "127.0.0.1:0"})
	if err != nil {
		t.Fatal(err)
	}
	defer s.Stop()
	for index, name := range answered {
		if got := s.core.committed.joined[name]; got != index {
			t.Errorf("%s was answered as entry %d and is entry %d", name, index, got)
		}
	}
}

// killOnce serves the folder in a process of its own, sends it enrolments, and kills it.
func killOnce(t *testing.T, dir string, lead ed25519.PrivateKey, round int, answered map[uint64]string) {
	t.Helper()
	cmd := exec.Command(os.Args[0])
	cmd.Env = append(os.Environ(), servedDir+"="+dir)
	cmd.Stderr = os.Stderr
	out, err := cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	defer func() { _ = cmd.Process.Kill(); _ = cmd.Wait() }()
	var addr string
	if _, err := fmt.Fscanln(out, &addr); err != nil {
		t.Fatalf("round %d: it does not serve: %v", round, err)
	}
	conn := dialAddr(t, addr, lead)
	ctx, cancel := context.WithTimeout(context.Background(), 10*time.Second)
	defer cancel()
	entries, err := servicev1.NewLedgerClient(conn).ListEntries(ctx, &servicev1.ListEntriesRequest{})
	if err != nil {
		t.Fatal(err)
	}
	state, err := record.Replay(entries.GetEntries())
	if err != nil {
		t.Fatal(err)
	}
	var wg sync.WaitGroup
	var mu sync.Mutex
	killAfter := len(answered) + 3 + 5*round // answers; others are under way then
	for worker := range 4 {
		wg.Go(func() {
			for i := range 200 {
				name := fmt.Sprintf("round %d worker %d person %d", round, worker, i)
				a, err := servicev1.NewPeopleClient(conn).Enrol(ctx, &servicev1.EnrolRequest{Envelope: enrolment(t, state, lead, name)})
				if err != nil {
					return // killed
				}
				mu.Lock()
				answered[a.GetAdmitted().GetIndex()] = name
				if len(answered) == killAfter {
					_ = cmd.Process.Kill()
				}
				mu.Unlock()
			}
		})
	}
	wg.Wait()
}

func dialAddr(t *testing.T, addr string, key ed25519.PrivateKey) *grpc.ClientConn {
	t.Helper()
	cert, err := selfSigned(key)
	if err != nil {
		t.Fatal(err)
	}
	conn, err := grpc.NewClient("passthrough:///"+addr, grpc.WithTransportCredentials(credentials.NewTLS(unpinned(cert))))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { conn.Close() })
	return conn
}

// enrolment signs the enrolment of somebody new, on a replayed state that may be older than
// the server's.
func enrolment(t *testing.T, s *record.State, lead ed25519.PrivateKey, name string) []byte {
	a := enrolAction(name, testKey(name), "technician")
	a.RequestId = "enrol " + name
	a.Genesis = s.GenesisSHA256
	a.Time = time.Now().UTC().Format(time.RFC3339)
	a.Seen = &recordv1.Seen{Size: uint32(s.Size), Root: hex.EncodeToString(s.Roots[s.Size][:])}
	a.ActsOn, _ = s.Target(a)
	env, err := signoff.Seal(a, lead)
	if err != nil {
		t.Errorf("seal: %v", err)
	}
	return env
}
