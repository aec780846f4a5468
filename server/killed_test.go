package server

import (
	"context"
	"crypto/ed25519"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"os"
	"os/exec"
	"path/filepath"
	"sync"
	"testing"
	"time"

	"google.golang.org/grpc"

	servicev1 "witnessmark/proto/witnessmark/service/v1"
	"witnessmark/store/memory"
	"witnessmark/store/record"
	"witnessmark/store/signoff"
)

// servedDir makes the test binary a server of that folder: see TestKilledWhileWriting.
const servedDir = "WITNESSMARK_TEST_SERVE"

func TestMain(m *testing.M) {
	if dir := os.Getenv(servedDir); dir != "" {
		s, err := Start(Options{Dir: dir, Listen: "127.0.0.1:0", Logger: slog.New(slog.NewTextHandler(os.Stderr, nil))})
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
	f, err := openFolder(dir, true)
	if err != nil {
		t.Fatal(err)
	}
	defer f.engine.Close()
	err = record.View(f.engine, func(s *record.State) error {
		for index, name := range answered {
			if p, ok := s.Person(name); !ok || uint64(p.GetEnrolled().GetEntry()) != index {
				t.Errorf("%s was answered as entry %d and is %v", name, index, p.GetEnrolled())
			}
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
}

// killOnce serves the folder in a process of its own, sends it enrolments, and kills it.
func killOnce(t *testing.T, dir string, lead ed25519.PrivateKey, round int, answered map[uint64]string) {
	t.Helper()
	cmd, addr, _ := serveApart(t, dir)
	conn := dial(t, addr, lead, serverKey(t, dir))
	own := fetched(t, conn)
	var wg sync.WaitGroup
	var mu sync.Mutex
	killAfter := len(answered) + 3 + 5*round // answers; others are under way then
	for worker := range 4 {
		wg.Go(func() {
			for i := range 200 {
				name := fmt.Sprintf("round %d worker %d person %d", round, worker, i)
				a, _, err := bring(t, conn, nil, enrolment(t, own, lead, name))
				if err != nil {
					return // killed
				}
				mu.Lock()
				answered[a.GetIndex()] = name
				if len(answered) == killAfter {
					_ = cmd.Process.Kill()
				}
				mu.Unlock()
			}
		})
	}
	wg.Wait()
	_ = cmd.Wait() // its store is let go of
}

// serveApart serves a folder in a process of its own, which the test's end kills.
func serveApart(t testing.TB, dir string) (cmd *exec.Cmd, addr string, logs io.Reader) {
	t.Helper()
	cmd = exec.Command(os.Args[0])
	cmd.Env = append(os.Environ(), servedDir+"="+dir)
	out, err1 := cmd.StdoutPipe()
	logs, err2 := cmd.StderrPipe()
	if err := errors.Join(err1, err2, cmd.Start()); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = cmd.Process.Kill(); _ = cmd.Wait() })
	if _, err := fmt.Fscanln(out, &addr); err != nil {
		t.Fatalf("it does not serve: %v", err)
	}
	return cmd, addr, logs
}

func serverKey(t *testing.T, dir string) ed25519.PublicKey {
	t.Helper()
	key, err := signoff.ParsePrivateKey(keyFile, fileBytes(t, filepath.Join(dir, keyFile)), nil)
	if err != nil {
		t.Fatal(err)
	}
	return publicOf(key)
}

// fetched is a copy of the ledger, judged.
func fetched(t *testing.T, conn *grpc.ClientConn) *memory.Engine {
	t.Helper()
	ctx, cancel := context.WithTimeout(context.Background(), 30*time.Second)
	defer cancel()
	own := newOwn()
	if err := fetch(ctx, own, servicev1.NewRecordClient(conn)); err != nil {
		t.Fatal(err)
	}
	return own
}

// enrolment signs the enrolment of somebody new, on a copy that may be older than the server's.
func enrolment(t *testing.T, own *memory.Engine, lead ed25519.PrivateKey, name string) (env []byte) {
	a := enrolAction(name, testKey(name), "technician")
	err := record.View(own, func(s *record.State) (err error) {
		env, err = signoff.Seal(carry(s, a), lead)
		return err
	})
	if err != nil {
		t.Errorf("seal: %v", err)
	}
	return env
}
