package server

import (
	"bytes"
	"errors"
	"fmt"
	"strings"
	"testing"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
	servicev1 "witnessmark/proto/witnessmark/service/v1"
	"witnessmark/store"
	"witnessmark/store/record"
)

// corridorBench is a small bench with two calibrators, and a job.
func corridorBench(t testing.TB, p Place) *bench {
	b := newSmallBenchIn(t, p)
	b.enrol("second calibrator", "calibrator")
	b.smallJob(1)
	return b
}

// sent is a submission as its author signs it now, on its way to the committer.
func (b *bench) sent(who string, up int) (a *arrival, env []byte, openings []*recordv1.Opening) {
	b.Helper()
	sub, openings := b.submit(1, houseMap(1, up))
	env = b.seal(who, b.filled(sub, openings...))
	return b.arrived(who, env, openings...), env, openings
}

// sealedFor is an action of somebody, on its way to the committer.
func (b *bench) sealedFor(who string, a *recordv1.Action) *arrival {
	b.Helper()
	return b.arrived(who, b.seal(who, b.filled(a)))
}

// wantRefused wants an answer of the committer to be a refusal.
func wantRefused(t *testing.T, what string, a *arrival, reason, say string) {
	t.Helper()
	var r *record.Refusal
	if got := <-a.answer; !errors.As(got.err, &r) || r.Reason != reason || !strings.Contains(r.Text, say) {
		t.Errorf("%s: %v, want %s: %s", what, got.err, reason, say)
	}
}

// TestLastMapOfACorridor: of two that come together for one map, one is released, and nothing of the other is entered. Its
// author's next try waits, and whoever sends the first again is told what became of it.
func TestLastMapOfACorridor(t *testing.T) { onBoth(t, testLastMapOfACorridor) }

func testLastMapOfACorridor(t *testing.T, p Place) {
	b := corridorBench(t, p)
	b.act("lead", b.opening(1, 0, 1, "calibrator", "second calibrator"))
	one, env, o := b.sent("calibrator", 1)
	two, late, lateOpenings := b.sent("second calibrator", 2)
	same := b.arrived("calibrator", env, o...)
	size := b.size()
	b.srv.core.commit([]*arrival{one, two, same})
	first, again := <-one.answer, <-same.answer
	if first.err != nil || again.err != nil || first.index != size || again.index != size || !bytes.Equal(first.entry, again.entry) {
		t.Fatalf("answers %+v and %+v, want entry %d", first, again, size)
	}
	wantRefused(t, "the second", two, record.ReasonCorridor, "its maps are used up, 1 of 1")
	if b.size() != size+1 {
		t.Errorf("%d entries, want %d", b.size(), size+1)
	}
	for _, blob := range two.spooled {
		err := b.srv.home.engine.View(func(tx store.ReadTx) error { _, err := store.GetBlob(tx, blob.sha); return err })
		if !errors.Is(err, store.ErrNotFound) {
			t.Errorf("what the second brought: %v, want not found", err)
		}
	}
	for _, a := range []*arrival{one, two, same} {
		a.close()
	}
	b.leavesNothing()
	b.restart()
	if got, err := b.bring("calibrator", env, o...); err != nil || got.GetIndex() != size {
		t.Errorf("the first once more: %v %v, want entry %d", got.GetIndex(), err, size)
	}
	_, err := b.bring("second calibrator", late, lateOpenings...)
	wantFault(t, err, codes.FailedPrecondition, record.ReasonCorridor)
	sub, o := b.submit(1, houseMap(1, 2))
	b.act("second calibrator", sub, o...)
	b.act("technician", b.collect(1, 1, hashOf(houseMap(1, 1))))
	shown, err := servicev1.NewJobsClient(b.as("technician")).Get(within(t), &servicev1.JobsGetRequest{Number: 1})
	if c := record.CorridorOf(shown.GetJob(), 1); err != nil || c.GetReleased() != 1 || c.GetEnded() != "its maps are used up, 1 of 1" {
		t.Errorf("it is shown as %v (%v)", c, err)
	}
	b.look(func(s *record.State) {
		for n, want := range map[uint32]string{1: "released 1 ", 2: "waiting 0 "} {
			sub, _ := s.Submission(1, n)
			if got := fmt.Sprintf("%s %d %s", sub.GetState(), sub.GetByCorridor(), sub.GetNotCovered()); got != want {
				t.Errorf("1.%d is %q, want %q", n, got, want)
			}
		}
	})
	b.well()
}

// TestCorridorMeanwhile: a submission that was computed before what covers it changed is refused, and signed anew it is
// what it would have been.
func TestCorridorMeanwhile(t *testing.T) {
	b := corridorBench(t, newFolderPlace(t))
	before, _, _ := b.sent("calibrator", 1) // no corridor is open
	open := b.sealedFor("lead", b.opening(1, 0, 9, "calibrator"))
	b.srv.core.commit([]*arrival{open, before})
	if r := <-open.answer; r.err != nil {
		t.Fatal(r.err)
	}
	wantRefused(t, "made before it was opened", before, record.ReasonCorridor, "1.corridor1 covers now; submit again")
	for _, c := range []struct {
		what, reason, say string
		then              *recordv1.Action
		by                uint32
	}{
		{"closed", record.ReasonCorridor, "no corridor is open", closingCorridor(1, 1, 0), 0},
		{"opened again", record.ReasonCorridor, "1.corridor2 covers now", b.opening(1, 0, 9, "calibrator"), 2},
		{"other limits", record.ReasonOlderRevision, "not the newest", addLimits(b.have(houseLimits("newer", false))), 0},
	} {
		sub, _, _ := b.sent("calibrator", 2)
		b.act("lead", c.then)
		b.srv.core.commit([]*arrival{sub})
		wantRefused(t, c.what, sub, c.reason, c.say)
		sub.close()
		again, _, _ := b.sent("calibrator", 2)
		b.srv.core.commit([]*arrival{again})
		r := <-again.answer
		again.close()
		b.look(func(s *record.State) {
			if got := submissionBy(s, 1, int(r.index)); r.err != nil || got.GetByCorridor() != c.by {
				t.Errorf("%s: signed anew: %v, released by %d, want %d", c.what, r.err, got.GetByCorridor(), c.by)
			}
		})
	}
	before.close()
	b.leavesNothing()
}

// TestEraseOfCorridor: what a job's corridor said of an image that is erased is forgotten, and no fault; of one that is
// there it is made again. Whoever begins now comes to the same record.
func TestEraseOfCorridor(t *testing.T) { onBoth(t, testEraseOfCorridor) }

func testEraseOfCorridor(t *testing.T, p Place) {
	b := newSmallBenchIn(t, p)
	for n := uint32(1); n <= 2; n++ {
		b.smallReleased(n)
		b.act("lead", b.opening(n, 1, 9, "calibrator"))
		for _, up := range []int{2, 9} {
			sub, o := b.submit(n, houseMap(n, up))
			b.act("calibrator", sub, o...)
		}
		b.act("technician", b.collect(n, 2, hashOf(houseMap(n, 2))))
	}
	b.closeAndErase(1, false)
	texts := b.well().Passed
	b.closeAndErase(2, true)
	if images := b.well().Passed; images <= texts {
		t.Errorf("%d claims are passed over, and %d before images were erased", images, texts)
	}
	for what, data := range map[string][]byte{"where it starts": smallMap(2), "what it released": houseMap(2, 2)} {
		if _, err := download(t, servicev1.NewBlobsClient(b.as("lead")), hashOf(data)); status.Code(err) != codes.NotFound {
			t.Errorf("%s: %v, want not found", what, err)
		}
	}
	b.leavesNothing()
	fresh := &bench{workshop: b.workshop, own: newOwn(), claims: b.claims}
	fresh.sync()
	if got := documentsOf(t, fresh.own); got != b.documents() {
		t.Error("whoever begins now has other documents")
	}
}

// TestMoveOfCorridors: corridors go into a database as they are, and what they cover there is a release.
func TestMoveOfCorridors(t *testing.T) {
	b := lived(t)
	want := documentsIn(t, b.dir)
	p := b.toDatabase()
	if out, err := p.Move(); err != nil || out.Documents == 0 {
		t.Fatalf("%+v %v", out, err)
	}
	b.place = p
	b.start()
	if b.documents() != want {
		t.Error("other documents")
	}
	b.act("technician", b.collect(1, 2, hashOf(houseMap(1, 1))))
	b.act("technician", closingCorridor(1, 1, 2))
	b.leavesNothing()
}
