package server

import (
	"bytes"
	"errors"
	"fmt"
	"strings"
	"testing"

	"google.golang.org/grpc/codes"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/store"
	"witnessmark/store/record"
)

// opening is the action that opens a corridor in a small job, for both calibrators.
func (b *bench) opening(job uint32, maps int) *recordv1.Action {
	var j *recordv1.Job
	b.look(func(s *record.State) { j, _ = s.Job(job) })
	return b.corridor(step{authors: []string{"calibrator", "second calibrator"}, up: 3, maps: maps, most: "caution"}, j,
		record.AsFound(j).GetImage().GetSha256(), b.revision(record.Limits, "small-road"))
}

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
	b.act("lead", b.opening(1, 1))
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
	open := b.sealedFor("lead", b.opening(1, 9))
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
		{"opened again", record.ReasonCorridor, "1.corridor2 covers now", b.opening(1, 9), 2},
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
