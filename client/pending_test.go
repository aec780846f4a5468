package client

import (
	"errors"
	"fmt"
	"os"
	"os/exec"
	"slices"
	"strings"
	"testing"
	"time"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	"witnessmark/store/record"
)

// once ends the first Admit at a point.
func once(point string, err error) lie {
	done := false
	return lie{at: func(at string) error {
		if at != point || done {
			return nil
		}
		done = true
		return err
	}}
}

var points = []string{pointAction, pointBlobs, pointEntry}

// kinds are the kinds of the entries from an index on.
func (w *world) kinds(from int) (out []string) {
	w.Helper()
	w.must(nil, w.tech.Events(0, func(e Event) bool {
		if int(e.Entry) >= from {
			out = append(out, e.Kind)
		}
		return int(e.Entry) > from
	}))
	slices.Reverse(out)
	return out
}

// listens keeps what a client says unasked.
func listens(c *Client) *[]string {
	var lines []string
	c.Say = func(line string) { lines = append(lines, line) }
	return &lines
}

// pendingLeft are what is pending in a home.
func (w *world) pendingLeft(c *Client) (names []string) {
	w.Helper()
	dirs, err := os.ReadDir(c.own.home.path(pendingDir))
	w.must(nil, err)
	for _, d := range dirs {
		names = append(names, d.Name())
	}
	return names
}

// An answer that is lost is found by the next action, whatever the server had done by then: the read is
// in the ledger once.
func TestLostAnswer(t *testing.T) {
	for _, point := range points {
		t.Run(point, func(t *testing.T) {
			w := newWorld(t)
			from := len(w.fake.told)
			w.fake.tell(once(point, status.Error(codes.Unavailable, "pulled the plug")))
			_, _, err := w.tech.AddRead(ctx, NewRead{Job: 1, Path: w.path("read.bin")})
			w.refusedAs(err, Away, "pulled the plug")
			if left := w.pendingLeft(w.tech); len(left) != 1 {
				t.Fatalf("pending: %v", left)
			}
			w.must(nil, os.Remove(w.path("read.bin"))) // what is sent again was kept
			said := listens(w.tech)
			w.must(w.tech.CloseJob(ctx, 1, "done", ""))
			if got := w.kinds(from); strings.Join(got, " ") != "read close" {
				t.Errorf("entries %v", got)
			}
			if len(*said) != 1 || (*said)[0] != fmt.Sprintf("the read that you signed earlier and got no answer for is entry %d", from) {
				t.Errorf("said %q", *said)
			}
			if left := w.pendingLeft(w.tech); len(left) != 0 {
				t.Errorf("pending: %v", left)
			}
		})
	}
}

// What may not be entered any more when it is sent again is said, and sent no third time.
func TestPendingIsRefused(t *testing.T) {
	w := newWorld(t)
	from := len(w.fake.told)
	w.fake.tell(once(pointAction, status.Error(codes.Unavailable, "pulled the plug")))
	_, err := w.tech.CloseJob(ctx, 1, "done", "")
	w.refusedAs(err, Away, "pulled the plug")
	w.must(w.lead.CloseJob(ctx, 1, "cancelled", "the car was sold"))
	said := listens(w.tech)
	w.must(nil, w.tech.Resume(ctx))
	if len(*said) != 1 || !strings.HasPrefix((*said)[0], "the close that you signed earlier was not entered: job 1 is closed") {
		t.Errorf("said %q", *said)
	}
	w.must(nil, w.tech.Resume(ctx))
	if got := w.kinds(from); len(got) != 1 || len(w.pendingLeft(w.tech)) != 0 {
		t.Errorf("entries %v, pending %v", got, w.pendingLeft(w.tech))
	}
}

// A ledger that moves on while an action is computed has it made anew, once.
func TestBusyServer(t *testing.T) {
	w := newWorld(t)
	from := len(w.fake.told)
	busy := status.Error(codes.Aborted, "busy, try again")
	w.fake.tell(once(pointBlobs, busy))
	w.submit("\x0a\x0b\x0c\x0e")
	w.fake.tell(lie{at: func(point string) error {
		if point == pointBlobs {
			return busy
		}
		return nil
	}})
	_, _, err := w.cal.Submit(ctx, NewSubmission{Job: 1, Path: w.path("sub.bin")})
	w.refusedAs(err, Refused, "the ledger moved on meanwhile")
	w.must(nil, w.tech.Sync(ctx))
	if got := w.kinds(from); strings.Join(got, " ") != "submission" || len(w.pendingLeft(w.cal)) != 0 {
		t.Errorf("entries %v, pending %v", got, w.pendingLeft(w.cal))
	}
}

// What somebody else did between looking and signing: an action that does not depend on it is signed on
// the new state; a statement that was read is not changed behind its reader's back.
func TestActsOnMoved(t *testing.T) {
	w := newWorld(t)
	w.submit("\x0a\x0b\x0c\x0e")
	w.must(nil, w.lead.Sync(ctx))
	r, err := w.lead.Review(ctx, 1, 1)
	w.must(nil, err)
	d, err := w.lead.DraftSignOff(r, nil, nil)
	w.must(nil, err)
	w.document(Limits, strings.ReplaceAll(testLimits, "max: 30", "max: 12"))
	_, err = w.lead.SignDraft(ctx, d)
	w.refusedAs(err, Refused, "sign_off.judgement")
	_, err = w.lead.SignOff(ctx, r, nil, nil)
	w.refusedAs(err, Refused, "not the newest revision")
	r, err = w.lead.Review(ctx, 1, 1)
	w.must(nil, err)
	if !r.ByNewer || r.Judgement.GetVerdict() != "warning" || r.Submission.GetJudgement().GetVerdict() == "warning" {
		t.Errorf("by newer %v, %s, was %s", r.ByNewer, r.Judgement.GetVerdict(), r.Submission.GetJudgement().GetVerdict())
	}
	w.must(w.lead.SignOff(ctx, r, map[string]string{key: "watched"}, nil))
}

// What never became whole is no action, and is taken away.
func TestHalfAPendingAction(t *testing.T) {
	w := newWorld(t)
	home := w.tech.own.home
	w.must(nil, os.MkdirAll(home.pendingPath(".new-1"), 0o700))
	w.must(nil, os.WriteFile(home.pendingPath(".new-1/envelope.json"), []byte("{"), 0o600))
	w.must(nil, w.tech.Resume(ctx))
	if left := w.pendingLeft(w.tech); len(left) != 0 {
		t.Errorf("pending: %v", left)
	}
}

// A program that is killed, at each point of an Admit: its next start finds the one entry, or makes it.
func TestKilledWhileActing(t *testing.T) {
	if home := os.Getenv("WITNESSMARK_TEST_ACT"); home != "" {
		c, err := Open(&Home{Dir: home}, nil)
		if err == nil {
			_, _, err = c.AddRead(ctx, NewRead{Job: 1, Path: os.Getenv("WITNESSMARK_TEST_READ")})
		}
		t.Fatal("it was not killed: ", err)
	}
	for _, point := range points {
		t.Run(point, func(t *testing.T) {
			w := newWorld(t)
			from := len(w.fake.told)
			cmd := exec.Command(os.Args[0], "-test.run=^TestKilledWhileActing$")
			cmd.Env = append(os.Environ(), "WITNESSMARK_TEST_ACT="+w.tech.own.home.Dir, "WITNESSMARK_TEST_READ="+w.path("read.bin"))
			started := make(chan *os.Process, 1)
			w.fake.tell(lie{at: func(at string) error {
				if at == point {
					return errors.Join((<-started).Kill(), errors.New("too late"))
				}
				return nil
			}})
			var out strings.Builder
			cmd.Stdout, cmd.Stderr = &out, &out
			w.must(nil, cmd.Start())
			started <- cmd.Process
			err := cmd.Wait()
			if state := cmd.ProcessState; err == nil || state.Exited() {
				t.Fatalf("%v, %s", err, out.String())
			}
			w.fake.tell(lie{})
			said := listens(w.tech)
			w.must(nil, w.tech.Resume(ctx))
			if got := w.kinds(from); strings.Join(got, " ") != "read" || len(*said) != 1 {
				t.Errorf("entries %v, said %q", got, *said)
			}
			w.must(w.tech.VerifyLedger(ctx, true))
		})
	}
}

// A program that is killed while it catches up, again and again: the copy gets there, nothing is lost,
// and nobody is accused.
func TestKilledWhileCatchingUp(t *testing.T) {
	if home := os.Getenv("WITNESSMARK_TEST_SYNC"); home != "" {
		c, err := Open(&Home{Dir: home}, nil)
		if err == nil {
			err = c.Sync(ctx)
		}
		if err != nil {
			t.Fatal(err)
		}
		return
	}
	w := newWorld(t)
	w.must(nil, w.tech.Sync(ctx))
	w.many(2*gathered + 100)
	r := seeded(t)
	for range 12 {
		cmd := exec.Command(os.Args[0], "-test.run=^TestKilledWhileCatchingUp$")
		cmd.Env = append(os.Environ(), "WITNESSMARK_TEST_SYNC="+w.tech.own.home.Dir)
		var out strings.Builder
		cmd.Stdout, cmd.Stderr = &out, &out
		w.must(nil, cmd.Start())
		kill := time.AfterFunc(time.Duration(r.IntN(700))*time.Millisecond, func() { _ = cmd.Process.Kill() })
		err := cmd.Wait()
		kill.Stop()
		if cmd.ProcessState.Exited() && err != nil {
			t.Fatalf("%v: %s", err, out.String())
		}
		w.must(nil, w.tech.View(func(*record.State) error { return nil })) // what is there can be looked at
		if cmd.ProcessState.Exited() {
			break
		}
	}
	said := listens(w.tech)
	w.must(nil, w.tech.Sync(ctx))
	head, err := w.tech.VerifyLedger(ctx, false)
	w.must(nil, err)
	if int(head.Size) != len(w.fake.told) || len(*said) != 0 {
		t.Errorf("%d entries of %d, said %q", head.Size, len(w.fake.told), *said)
	}
}
