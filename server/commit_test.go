package server

import (
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"sync/atomic"
	"testing"

	"google.golang.org/grpc/codes"
	healthv1 "google.golang.org/grpc/health/grpc_health_v1"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"

	servicev1 "witnessmark/proto/witnessmark/service/v1"
	"witnessmark/store"
	"witnessmark/store/ledger"
)

// TestSameRequestAgain: the same bytes get the first answer, for ever; the same id with
// other bytes is refused.
func TestSameRequestAgain(t *testing.T) {
	w := newWorkshop(t)
	a := w.action(enrolAction("technician", testKey("technician"), "technician"))
	env := w.seal("lead", a)
	first, err := w.bring("lead", "enrol", env)
	if err != nil {
		t.Fatal(err)
	}
	for range 2 {
		again, err := w.bring("lead", "enrol", env)
		if err != nil {
			t.Fatalf("again: %v", err)
		}
		if !proto.Equal(first, again) {
			t.Errorf("the second answer is entry %d, the first was %d", again.GetIndex(), first.GetIndex())
		}
		w.restart()
	}
	_, err = w.bring("lead", "retire", env)
	wantFault(t, err, codes.InvalidArgument, "wrong-kind")
	a.GetEnrol().Roles = []string{"calibrator"}
	_, err = w.bring("lead", "enrol", w.seal("lead", a))
	wantFault(t, err, codes.FailedPrecondition, "request-id")
	if w.size() != 2 {
		t.Errorf("%d entries, want 2", w.size())
	}
}

// TestCommitterUnderConcurrency: many people at once, some of them wrong, one action sent
// twice at the same time. Each is answered for itself, and the ledger has every admitted
// action once.
func TestCommitterUnderConcurrency(t *testing.T) {
	w := newWorkshop(t)
	const people = 40
	envelopes := make([][]byte, people)
	for i := range envelopes {
		name := fmt.Sprintf("person %d", i)
		a := w.action(enrolAction(name, testKey(name), "technician"))
		if i%4 == 3 {
			a.GetEnrol().Roles = []string{"owner"} // there is no such role
		}
		envelopes[i] = w.seal("lead", a)
	}
	var wg sync.WaitGroup
	var mu sync.Mutex
	indexes := map[uint64]int{}
	var refusals atomic.Int32
	client := servicev1.NewPeopleClient(w.as("lead"))
	for i := range 2 * people {
		wg.Go(func() {
			got, err := client.Enrol(within(t), &servicev1.EnrolRequest{Envelope: envelopes[i%people]})
			switch {
			case i%people%4 == 3:
				if status.Code(err) != codes.InvalidArgument {
					t.Errorf("%d: %v, want invalid argument", i, err)
				}
				refusals.Add(1)
			case err != nil:
				t.Errorf("%d: %v", i, err)
			default:
				mu.Lock()
				indexes[got.GetAdmitted().GetIndex()]++
				mu.Unlock()
			}
		})
	}
	wg.Wait()
	if len(indexes) != people*3/4 || refusals.Load() != people/2 {
		t.Errorf("%d entries and %d refusals, want %d and %d", len(indexes), refusals.Load(), people*3/4, people/2)
	}
	for i, n := range indexes {
		if n != 2 {
			t.Errorf("entry %d answered %d times, want 2", i, n)
		}
	}
	if got := w.size(); got != uint64(1+people*3/4) {
		t.Errorf("%d entries", got)
	}
	before, _ := w.srv.core.head()
	w.restart()
	if after, _ := w.srv.core.head(); string(before) != string(after) {
		t.Errorf("the checkpoint after a restart is\n%s\nbefore it was\n%s", after, before)
	}
}

// TestBatchSharesOneSync: actions that wait together are written together, and a refused
// one among them costs the others nothing.
func TestBatchSharesOneSync(t *testing.T) {
	w := newWorkshop(t)
	c := w.srv.core
	counted := &brokenEngine{Engine: c.engine, left: 10}
	c.engine = counted
	key := testKeyID(w, "lead")
	var batch []*waiting
	add := func(env []byte) *waiting {
		x := &waiting{envelope: env, kind: "enrol", keyID: key, answer: make(chan admitted, 1)}
		batch = append(batch, x)
		return x
	}
	one := add(w.seal("lead", w.action(enrolAction("one", testKey("one"), "technician"))))
	bad := add(w.seal("lead", w.action(enrolAction("one", testKey("two"), "nobody"))))
	same := add(one.envelope)
	three := add(w.seal("lead", w.action(enrolAction("three", testKey("three"), "lead"))))
	c.commit(batch) // nothing else is under way: the loop waits
	if counted.left != 9 {
		t.Errorf("the batch took %d writes, want 1", 10-counted.left)
	}
	a, b, d, e := <-one.answer, <-bad.answer, <-same.answer, <-three.answer
	if a.err != nil || d.err != nil || e.err != nil || b.err == nil {
		t.Fatalf("answers: %v, %v, %v, %v", a.err, b.err, d.err, e.err)
	}
	if a.index != 1 || d.index != 1 || e.index != 2 {
		t.Errorf("entries %d, %d, %d, want 1, 1, 2", a.index, d.index, e.index)
	}
}

func testKeyID(w *workshop, name string) (id string) {
	w.srv.core.read(func(h *history) {
		p, _ := h.state.Person(name)
		id = p.GetKeyFingerprint()
	})
	return id
}

// brokenEngine fails every write after some.
type brokenEngine struct {
	store.Engine
	left int
}

func (b *brokenEngine) Update(fn func(store.WriteTx) error) error {
	if b.left--; b.left < 0 {
		return errors.New("the disk is gone")
	}
	return b.Engine.Update(fn)
}

// TestFailedWriteStopsWriting: after one failed write nothing is admitted, nothing of it is
// shown, looking still works, and a restart goes on from what the disk has.
func TestFailedWriteStopsWriting(t *testing.T) {
	w := newWorkshop(t)
	w.enrol("technician", "technician")
	w.srv.core.engine = &brokenEngine{Engine: w.srv.core.engine}
	lost := w.action(enrolAction("calibrator", testKey("calibrator"), "calibrator"))
	env := w.seal("lead", lost)
	for range 2 {
		_, err := w.bring("lead", "enrol", env)
		wantFault(t, err, codes.Unavailable, "store-broken")
		if strings.Contains(err.Error(), "disk is gone") {
			t.Errorf("inner detail was shown: %v", err)
		}
	}
	if !strings.Contains(w.logs.String(), "the disk is gone") {
		t.Error("the cause was not logged")
	}
	health, err := healthv1.NewHealthClient(w.as("lead")).Check(within(t), &healthv1.HealthCheckRequest{})
	if err != nil || health.GetStatus() != healthv1.HealthCheckResponse_NOT_SERVING {
		t.Errorf("health after the failure: %v %v", health, err)
	}
	got, err := servicev1.NewPeopleClient(w.as("lead")).List(within(t), &servicev1.PeopleListRequest{})
	if err != nil || len(got.GetPeople()) != 2 {
		t.Errorf("people after the failure: %v %v, want 2", got, err)
	}
	w.restart()
	if w.size() != 2 {
		t.Errorf("%d entries after a restart, want 2", w.size())
	}
	if _, err := w.bring("lead", "enrol", env); err != nil {
		t.Errorf("after a restart: %v", err)
	}
}

// TestCheckpointThatCannotBeKept: entries that are on disk without their checkpoint are not
// answered for; a restart finds them and keeps the checkpoint.
func TestCheckpointThatCannotBeKept(t *testing.T) {
	w := newWorkshop(t)
	w.srv.core.keep = func([]byte) error { return io.ErrShortWrite }
	env := w.seal("lead", w.action(enrolAction("technician", testKey("technician"), "technician")))
	_, err := w.bring("lead", "enrol", env)
	wantFault(t, err, codes.Unavailable, "store-broken")
	if w.size() != 1 {
		t.Error("an entry was shown whose checkpoint was not kept")
	}
	w.restart()
	if w.size() != 2 {
		t.Errorf("%d entries after a restart, want 2", w.size())
	}
	if a, err := w.bring("lead", "enrol", env); err != nil || a.GetIndex() != 1 {
		t.Errorf("the same action again: %v %v, want entry 1", a, err)
	}
	kept, err := os.ReadFile(filepath.Join(w.dir, checkpointFile))
	if err != nil {
		t.Fatal(err)
	}
	cp, err := ledger.OpenCheckpoint(kept, ledger.Origin(w.srv.core.genesis), publicOf(w.srv.folder.key))
	if err != nil || cp.Size != 2 {
		t.Errorf("kept checkpoint: %v %v, want size 2", cp, err)
	}
}

// TestStoreBehindItsCheckpoint: a store from before the kept checkpoint, or beside it, is
// not served, and check says so.
func TestStoreBehindItsCheckpoint(t *testing.T) {
	w := newWorkshop(t)
	older := readStore(t, w)
	w.start()
	w.enrol("technician", "technician")
	w.stop()
	if err := os.WriteFile(filepath.Join(w.dir, storeFile), older, 0o600); err != nil {
		t.Fatal(err)
	}
	refusesToStart(t, w, "behind its checkpoint")

	// A fork: as many entries, another one.
	kept, err := os.ReadFile(filepath.Join(w.dir, checkpointFile))
	if err != nil {
		t.Fatal(err)
	}
	first, err := w.srvKept(older)
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(w.dir, checkpointFile), first, 0o600); err != nil {
		t.Fatal(err)
	}
	w.start()
	w.enrol("calibrator", "calibrator")
	w.stop()
	if err := os.WriteFile(filepath.Join(w.dir, checkpointFile), kept, 0o600); err != nil {
		t.Fatal(err)
	}
	refusesToStart(t, w, "disagree")
	if err := os.WriteFile(filepath.Join(w.dir, checkpointFile), []byte("not a note"), 0o600); err != nil {
		t.Fatal(err)
	}
	refusesToStart(t, w, "checkpoint")
}

// srvKept is the checkpoint inside a copy of a store.
func (w *workshop) srvKept(db []byte) ([]byte, error) {
	path := filepath.Join(w.t.TempDir(), "copy.db")
	if err := os.WriteFile(path, db, 0o600); err != nil {
		return nil, err
	}
	_, note, err := readBackup(path)
	return note, err
}

// readStore stops the server and reads the store's file.
func readStore(t *testing.T, w *workshop) []byte {
	t.Helper()
	w.stop()
	b, err := os.ReadFile(filepath.Join(w.dir, storeFile))
	if err != nil {
		t.Fatal(err)
	}
	return b
}

func refusesToStart(t *testing.T, w *workshop, say string) {
	t.Helper()
	s, err := Start(Options{Dir: w.dir, Listen: "127.0.0.1:0"})
	if err == nil {
		_ = s.Stop()
		t.Fatalf("it started; want %q", say)
	}
	if !strings.Contains(err.Error(), say) || strings.Contains(err.Error(), "\n") {
		t.Errorf("it says %q, want one line with %q", err, say)
	}
	out, err := Check(w.dir)
	if err != nil {
		t.Fatalf("check: %v", err)
	}
	if !strings.Contains(strings.Join(out.Found, "\n"), say) {
		t.Errorf("check found %q, want %q", out.Found, say)
	}
}

// TestDamagedNewestPage flips one bit in the newer of the database's two meta pages. The
// database then opens with the commit before, without a word; the kept checkpoint knows better.
func TestDamagedNewestPage(t *testing.T) {
	w := newWorkshop(t)
	w.enrol("technician", "technician")
	w.enrol("calibrator", "calibrator")
	db := readStore(t, w)
	// A page begins with 16 bytes of its own; a meta page's transaction number lies 48 bytes in.
	page := os.Getpagesize()
	number := func(p int) uint64 { return binary.NativeEndian.Uint64(db[p*page+48:]) }
	newer := 0
	if number(1) > number(0) {
		newer = 1
	}
	db[newer*page+48] ^= 1
	if err := os.WriteFile(filepath.Join(w.dir, storeFile), db, 0o600); err != nil {
		t.Fatal(err)
	}
	refusesToStart(t, w, "behind its checkpoint: it has 2 entries and had 3")
}
