package server

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"google.golang.org/grpc/codes"
	healthv1 "google.golang.org/grpc/health/grpc_health_v1"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
	servicev1 "witnessmark/proto/witnessmark/service/v1"
	"witnessmark/store"
	"witnessmark/store/ledger"
	"witnessmark/store/record"
	"witnessmark/store/signoff"
)

// TestSameRequestAgain: the same bytes get the first answer, for ever; the same id with
// other bytes is refused.
func TestSameRequestAgain(t *testing.T) { onBoth(t, testSameRequestAgain) }

func testSameRequestAgain(t *testing.T, p Place) {
	w := newWorkshopIn(t, p)
	a := w.carry(enrolAction("technician", testKey("technician"), "technician"))
	env := w.seal("lead", a)
	first, err := w.bring("lead", env)
	if err != nil {
		t.Fatal(err)
	}
	for range 2 {
		again, err := w.bring("lead", env)
		if err != nil {
			t.Fatalf("again: %v", err)
		}
		if !proto.Equal(first, again) {
			t.Errorf("the second answer is entry %d, the first was %d", again.GetIndex(), first.GetIndex())
		}
		w.restart()
	}
	a.GetEnrol().Roles = []string{"calibrator"}
	_, err = w.bring("lead", w.seal("lead", a))
	wantFault(t, err, codes.FailedPrecondition, record.ReasonRequestUsed)
	if w.size() != 2 {
		t.Errorf("%d entries, want 2", w.size())
	}
}

// TestCommitterUnderConcurrency: many people at once, some of them wrong, each action sent twice
// at the same time. Each is answered for itself, and the ledger has every admitted action once.
func TestCommitterUnderConcurrency(t *testing.T) { onBoth(t, testCommitterUnderConcurrency) }

func testCommitterUnderConcurrency(t *testing.T, p Place) {
	w := newWorkshopIn(t, p)
	const people = 40
	envelopes := make([][]byte, people)
	for i := range envelopes {
		name := fmt.Sprintf("person %d", i)
		a := w.carry(enrolAction(name, testKey(name), "technician"))
		if i%4 == 3 {
			a.GetEnrol().Roles = []string{"owner"} // there is no such role
		}
		envelopes[i] = w.seal("lead", a)
	}
	conn := w.as("lead")
	var wg sync.WaitGroup
	var mu sync.Mutex
	indexes := map[uint64]int{}
	var refusals atomic.Int32
	for i := range 2 * people {
		wg.Go(func() {
			got, _, err := bring(t, conn, nil, envelopes[i%people])
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
				indexes[got.GetIndex()]++
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
	before, _, _ := w.srv.core.head()
	w.restart()
	if after, _, _ := w.srv.core.head(); string(before) != string(after) {
		t.Errorf("the checkpoint after a restart is\n%s\nbefore it was\n%s", after, before)
	}
	w.leavesNothing()
}

// arrived opens an action, takes what it brings, decides and computes it as Admit does, and leaves it before the committer.
func (w *workshop) arrived(name string, env []byte, openings ...*recordv1.Opening) *arrival {
	w.Helper()
	a := &arrival{openings: openings, answer: make(chan admitted, 1)}
	first, wanted, err := w.srv.core.open(a, env, signoff.Fingerprint(publicOf(w.keys[name])))
	if err != nil || first != nil {
		w.Fatalf("open: %v %v", first, err)
	}
	for _, sha := range wanted {
		part := &servicev1.BlobPart{Sha256: sha, Size: uint64(len(w.files[sha])), Data: w.files[sha]}
		b, err := w.srv.spool.receive(name, func() (*servicev1.AdmitRequest, error) {
			return &servicev1.AdmitRequest{Content: &servicev1.AdmitRequest_Part{Part: part}}, nil
		}, sha)
		if err != nil {
			w.Fatal(err)
		}
		a.spooled = append(a.spooled, b)
	}
	if err := w.srv.core.compute(a); err != nil {
		w.Fatal(err)
	}
	return a
}

// TestBatchSharesOneSync: actions that wait together are written together, and a refused
// one among them costs the others nothing.
func TestBatchSharesOneSync(t *testing.T) {
	writes := &countedEngine{left: 1 << 30}
	w := newWorkshop(t)
	w.tune = func(o *Options) { o.wrap = writes.around }
	w.restart()
	env := w.seal("lead", w.carry(enrolAction("one", testKey("one"), "technician")))
	one, same := w.arrived("lead", env), w.arrived("lead", env)
	bad := w.arrived("lead", w.seal("lead", w.carry(enrolAction("one", testKey("two"), "technician"))))
	three := w.arrived("lead", w.seal("lead", w.carry(enrolAction("three", testKey("three"), "lead"))))
	before := writes.left
	w.srv.core.commit([]*arrival{one, bad, same, three}) // nothing else is under way: the loop waits
	if n := before - writes.left; n != 1 {
		t.Errorf("the batch took %d writes, want 1", n)
	}
	a, b, d, e := <-one.answer, <-bad.answer, <-same.answer, <-three.answer
	if a.err != nil || d.err != nil || e.err != nil {
		t.Fatalf("answers: %v, %v, %v", a.err, d.err, e.err)
	}
	// It replaces the key of a person who, when it was signed, did not exist.
	var r *record.Refusal
	if !errors.As(b.err, &r) || r.Reason != record.ReasonActsOn {
		t.Errorf("the one that came too late: %v", b.err)
	}
	if a.index != 1 || d.index != 1 || e.index != 2 || !bytes.Equal(a.entry, d.entry) {
		t.Errorf("entries %d, %d, %d, want 1, 1, 2", a.index, d.index, e.index)
	}
	// Nothing but refusals: nothing is written.
	checkpoint, _, _ := w.srv.core.head()
	late := *bad
	late.answer = make(chan admitted, 1)
	w.srv.core.commit([]*arrival{&late})
	if got := <-late.answer; got.err == nil {
		t.Error("refused once, and then not")
	}
	if after, _, _ := w.srv.core.head(); !bytes.Equal(checkpoint, after) {
		t.Error("a refusal made a checkpoint")
	}
}

// countedEngine fails every write after some.
type countedEngine struct {
	store.Engine
	left int
}

func (c *countedEngine) around(e store.Engine) store.Engine {
	c.Engine = e
	return c
}

func (c *countedEngine) Update(fn func(store.WriteTx) error) error {
	if c.left--; c.left < 0 {
		return errors.New("the disk is gone")
	}
	return c.Engine.Update(fn)
}

// TestFailedWriteStopsWriting: after one failed write nothing is admitted, nothing of it is
// shown, looking still works, and a restart goes on from what the disk has.
func TestFailedWriteStopsWriting(t *testing.T) {
	w := newWorkshop(t)
	w.enrol("technician", "technician")
	w.tune = func(o *Options) { o.wrap = (&countedEngine{}).around }
	w.restart()
	env := w.seal("lead", w.carry(enrolAction("calibrator", testKey("calibrator"), "calibrator")))
	for range 2 {
		_, err := w.bring("lead", env)
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
	w.tune = nil
	w.restart()
	if w.size() != 2 {
		t.Errorf("%d entries after a restart, want 2", w.size())
	}
	if _, err := w.bring("lead", env); err != nil {
		t.Errorf("after a restart: %v", err)
	}
}

// TestPanicWhileWriting ends writing, not the server.
func TestPanicWhileWriting(t *testing.T) {
	w := newWorkshop(t)
	w.srv.core.now = nil
	err := w.try("lead", enrolAction("technician", testKey("technician"), "technician"))
	wantFault(t, err, codes.Unavailable, "store-broken")
	if !strings.Contains(w.logs.String(), "panic while writing") || w.size() != 1 {
		t.Errorf("%d entries; logged: %s", w.size(), w.logs)
	}
}

// TestCheckpointThatCannotBeKept: entries that are on disk without their checkpoint are not
// answered for and not handed on; a restart finds them and keeps the checkpoint.
func TestCheckpointThatCannotBeKept(t *testing.T) {
	w := newWorkshop(t)
	w.srv.core.keep = func([]byte) error { return io.ErrShortWrite }
	env := w.seal("lead", w.carry(enrolAction("technician", testKey("technician"), "technician")))
	for range 2 {
		_, err := w.bring("lead", env)
		wantFault(t, err, codes.Unavailable, "store-broken")
	}
	stream, err := servicev1.NewRecordClient(w.as("lead")).Entries(within(t), &servicev1.EntriesRequest{First: 1, End: 2})
	if err != nil {
		t.Fatal(err)
	}
	_, err = stream.Recv()
	wantFault(t, err, codes.InvalidArgument, "range")
	w.restart()
	if a, err := w.bring("lead", env); err != nil || a.GetIndex() != 1 {
		t.Errorf("the same action again: %v %v, want entry 1", a, err)
	}
	origin := ""
	w.look(func(s *record.State) { origin = ledger.Origin(s.GenesisSHA256()) })
	cp, err := ledger.OpenCheckpoint(fileBytes(t, w.dir+"/"+checkpointFile), origin, publicOf(w.srv.home.key))
	if err != nil || cp.Size != 2 {
		t.Errorf("kept checkpoint: %v %v, want size 2", cp, err)
	}
}

// TestAnswerWaitsForTheCheckpoint: somebody who sends an action again while its checkpoint is being
// kept is not answered before it is.
func TestAnswerWaitsForTheCheckpoint(t *testing.T) {
	w := newWorkshop(t)
	keep, going := make(chan struct{}), make(chan struct{})
	kept := w.srv.core.keep
	w.srv.core.keep = func(note []byte) error { close(going); <-keep; return kept(note) }
	env := w.seal("lead", w.carry(enrolAction("technician", testKey("technician"), "technician")))
	conn := w.as("lead")
	var wg sync.WaitGroup
	wg.Go(func() {
		if _, _, err := bring(t, conn, nil, env); err != nil {
			t.Errorf("the first: %v", err)
		}
	})
	<-going
	answered := make(chan error, 1)
	wg.Go(func() { _, _, err := bring(t, conn, nil, env); answered <- err })
	select {
	case err := <-answered:
		t.Errorf("answered before the checkpoint was kept")
		answered <- err
	case <-time.After(200 * time.Millisecond): // long enough to see it as a rule, and no reason to fail
	}
	close(keep)
	if err := <-answered; err != nil {
		t.Errorf("the second: %v", err)
	}
	wg.Wait()
}

// TestComputedAnew: an action whose claims were made before another went in, and rest on what that
// one changed, goes back; then it is refused, or goes in, as things are now. What does not touch
// them does not send it back.
func TestComputedAnew(t *testing.T) { onBoth(t, testComputedAnew) }

func testComputedAnew(t *testing.T, p Place) {
	b := newBenchIn(t, p)
	arrive := func(plate string) *arrival {
		a, o := b.openJob(plate)
		return b.arrived("technician", b.seal("technician", b.filled(a, o...)), o...)
	}
	same, next, first := arrive("AB 12 CD"), arrive("AB 12 CE"), arrive("AB 12 CD")
	far := b.arrived("lead", b.seal("lead", b.carry(enrolAction("second lead", testKey("second lead"), "lead"))))
	made := b.srv.core.claims.Comparisons()
	b.srv.core.commit([]*arrival{first, same, next, far})
	if n := b.srv.core.claims.Comparisons(); n != made {
		t.Errorf("%d comparisons were made while writing", n-made)
	}
	if r := <-first.answer; r.err != nil {
		t.Fatal(r.err)
	}
	if r := <-far.answer; r.err != nil {
		t.Errorf("an action that has nothing to do with it: %v", r.err)
	}
	if r := <-same.answer; !errors.Is(r.err, errMoved) {
		t.Errorf("the same plate: %v, want to be computed anew", r.err)
	}
	if r := <-next.answer; r.err != nil && !errors.Is(r.err, errMoved) {
		t.Errorf("the next plate: %v", r.err)
	}
	if _, err := b.srv.core.admit(within(t), same); toStatus(err).Code() != codes.FailedPrecondition {
		t.Errorf("it says that the car is new, and is %v", err)
	}
	if _, err := b.srv.core.admit(within(t), next); err != nil {
		t.Errorf("the next plate, computed anew: %v", err)
	}
	b.well()
}

// TestManyJobsAtOnce: those who open jobs side by side all get in.
func TestManyJobsAtOnce(t *testing.T) { onBoth(t, testManyJobsAtOnce) }

func testManyJobsAtOnce(t *testing.T, p Place) {
	b := newBenchIn(t, p)
	var wg sync.WaitGroup
	conn := b.as("technician")
	for i := range 12 {
		a, o := b.openJob(fmt.Sprintf("AB %02d CD", i))
		env := b.seal("technician", b.filled(a, o...))
		wg.Go(func() {
			if _, _, err := bring(t, conn, nil, env, o...); err != nil {
				t.Errorf("job %d: %v", i, err)
			}
		})
	}
	wg.Wait()
	b.well()
}

// TestBusy: an action that is sent back again and again is answered at last.
func TestBusy(t *testing.T) {
	b := newBench(t)
	open, o := b.openJob("AB 12 CD")
	a := b.arrived("technician", b.seal("technician", b.filled(open, o...)), o...)
	c := b.srv.core
	n := 0
	busy := &core{engine: c.engine, home: c.home, claims: c.claims, queue: make(chan *arrival), stop: make(chan struct{}), figures: c.figures, lanes: c.lanes}
	go func() {
		for a := range busy.queue {
			n++
			a.answer <- admitted{err: errMoved}
		}
	}()
	_, err := busy.admit(within(t), a)
	close(busy.queue)
	wantFault(t, toStatus(err).Err(), codes.Aborted, "busy")
	if n != tries {
		t.Errorf("%d tries, want %d", n, tries)
	}
	// Whoever waits for the committer is told when the server stops, and may go.
	busy.queue = make(chan *arrival)
	close(busy.stop)
	_, err = busy.admit(within(t), a)
	wantFault(t, toStatus(err).Err(), codes.Unavailable, "stopping")
}

// TestGather: the committer waits for those who are on their way, as long as it may, and for nobody else.
func TestGather(t *testing.T) {
	c := &core{queue: make(chan *arrival), most: 3}
	arrivals := func(n int) (out []*arrival) {
		for range n {
			a := &arrival{}
			c.comes(a)
			out = append(out, a)
		}
		return out
	}
	gathers := func(what string, within time.Duration, first *arrival, want int) {
		t.Helper()
		if got := c.gather(first, within); len(got) != want || got[0] != first {
			t.Errorf("%s: %d were gathered, want %d", what, len(got), want)
		}
	}
	two := arrivals(2)
	go func() { c.queue <- two[1] }()
	gathers("one on its way", time.Hour, two[0], 2)
	two = arrivals(2)
	go c.there(two[1])
	gathers("one that never comes", time.Hour, two[0], 1)
	four := arrivals(4)
	go func() { c.queue <- four[1]; c.queue <- four[2] }()
	gathers("more than go into one", time.Hour, four[0], 3)
	c.there(four[3])
	two = arrivals(2)
	gathers("no time", 0, two[0], 1)
	c.there(two[1])
	if n := c.coming.Load(); n != 0 {
		t.Errorf("%d are on their way, and nobody is", n)
	}
}
