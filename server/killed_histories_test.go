package server

import (
	"errors"
	"fmt"
	"io"
	"math/rand/v2"
	"os/exec"
	"sync"
	"testing"
	"time"

	"github.com/anishathalye/porcupine"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
	servicev1 "witnessmark/proto/witnessmark/service/v1"
	"witnessmark/store"
	"witnessmark/store/ledger"
	"witnessmark/store/memory"
	"witnessmark/store/record"
	"witnessmark/store/signoff"
	"witnessmark/store/storetest"
	"witnessmark/tables/image"
)

const (
	callers   = 6
	someJobs  = 6
	jobsAtOne = 2 // that callers meet in
)

// inHouse is one of the servers, with a connection for everybody.
type inHouse struct {
	cmd   *exec.Cmd
	conns map[string]*grpc.ClientConn
}

// house is a ledger that is served by so many servers, its callers, and the history of what they asked for.
type house struct {
	*bench
	r       *rand.Rand
	begin   floor
	start   time.Time
	mu      sync.Mutex
	history []porcupine.Operation
	servers []*inHouse
	kills   int
	end     floor                          // after all
	unheard map[string]porcupine.Operation // by request id: whoever asked was retired before the answer came
}

// staff has every role, so that whoever asks is refused for other reasons.
func staff(n int) string { return fmt.Sprint("hand ", n) }

func newHouse(t *testing.T, p Place, servers int) *house {
	h := &house{servers: make([]*inHouse, servers), bench: newSmallBenchIn(t, p), r: storetest.Rand(t), start: time.Now(), unheard: map[string]porcupine.Operation{}, begin: floor{gone: map[string]bool{}, named: map[string]int{}}}
	for n := range 2 * callers {
		h.enrol(staff(n), "technician", "calibrator", "lead")
		h.begin.named[staff(n)] = int(h.size()) - 1
	}
	limits := h.have(houseLimits("to begin with", false))
	h.begin.limits, h.begin.limitsAt = limits, int(h.act("lead", addLimits(limits)).GetIndex())
	for n := range uint32(someJobs) {
		opened, read := h.smallJob(n + 1)
		h.begin.jobs = append(h.begin.jobs, jobOnPaper{open: true, latest: int(opened), read: int(read)})
	}
	h.begin.last = int(h.size()) - 1
	h.sync()
	h.stop()
	for i := range h.servers {
		h.serve(i)
	}
	return h
}

// serve serves the ledger in a process of its own.
func (h *house) serve(i int) {
	cmd, addr, logs := serveApart(h.TB, h.place)
	go func() { _, _ = io.Copy(io.Discard, logs) }()
	s, key := &inHouse{cmd, map[string]*grpc.ClientConn{}}, serverKey(h.TB, h.dir)
	for n := range 2 * callers {
		s.conns[staff(n)] = dial(h.TB, addr, testKey(staff(n)), key)
	}
	h.mu.Lock()
	defer h.mu.Unlock()
	h.servers[i] = s
}

func (h *house) kill(i int) {
	_ = h.servers[i].cmd.Process.Kill()
	_ = h.servers[i].cmd.Wait()
}

// killOne kills one of the servers, and starts it again.
func (h *house) killOne(int) {
	i := h.r.IntN(len(h.servers))
	h.kill(i)
	h.serve(i)
}

// caller is somebody with a copy of their own, which may be older than the server's.
type caller struct {
	*house
	r    *rand.Rand
	who  string
	copy *memory.Engine
}

// conn is to any of the servers.
func (c *caller) conn() *grpc.ClientConn {
	c.house.mu.Lock()
	defer c.house.mu.Unlock()
	return c.servers[c.r.IntN(len(c.servers))].conns[c.who]
}

func (c *caller) View(fn func(*record.State) error) error { return record.View(c.copy, fn) }

func (c *caller) Blob(what string, sha image.Hash) ([]byte, error) {
	c.workshop.mu.Lock()
	defer c.workshop.mu.Unlock()
	if data, ok := c.files[string(sha)]; ok {
		return data, nil
	}
	return nil, fmt.Errorf("%s: %w", what, store.ErrNotFound)
}

// ask makes an action's claims on the caller's own copy, signs it, and asks until there is an answer.
func (c *caller) ask(at int) error {
	if c.r.IntN(3) > 0 {
		if err := fetch(within(c.TB), c.copy, servicev1.NewRecordClient(c.conn())); err != nil {
			return nil // it is being killed
		}
	}
	s, a, o := c.wish(at)
	if a == nil {
		return nil
	}
	made, err := c.claims.Fill(c, a, o)
	var own *record.Refusal
	if errors.As(err, &own) {
		return nil // its own copy says no
	}
	if err != nil {
		return err
	}
	for _, report := range made.Reports {
		c.have(report)
	}
	s.claimed(a)
	var envelope []byte
	err = c.View(func(st *record.State) (err error) {
		carry(st, a)
		envelope, err = signoff.Seal(a, testKey(c.who))
		return err
	})
	if err != nil || a.GetActsOn() == "" { // there is nothing that it could act on
		return err
	}
	if s.on, err = c.entryOf(a.GetActsOn()); err != nil {
		return err
	}
	files := map[string][]byte{}
	for _, b := range record.Brings(a) {
		if files[b.SHA256], err = c.Blob("what it brings", image.Hash(b.SHA256)); err != nil {
			return err
		}
	}
	return c.askUntilAnswered(s, a.GetRequestId(), envelope, o, files)
}

// errGone is somebody who was retired.
var errGone = errors.New("retired")

func (c *caller) askUntilAnswered(s step, id string, envelope []byte, o []*recordv1.Opening, files map[string][]byte) error {
	op := porcupine.Operation{Input: s, Call: int64(time.Since(c.start))}
	for {
		got, _, err := bring(c.TB, c.conn(), files, envelope, o...)
		reason := faultOf(err).GetReason()
		switch code := status.Code(err); {
		case err == nil:
			op.Output = answered{index: int(got.GetIndex())}
		case code == codes.Unauthenticated: // and cannot ask what became of it
			c.mu.Lock()
			defer c.mu.Unlock()
			c.unheard[id] = op
			return errGone
		case reason != "" && code != codes.Unavailable && code != codes.Aborted:
			op.Output = answered{reason: reason}
		default:
			time.Sleep(time.Duration(1+c.r.IntN(20)) * time.Millisecond)
			continue
		}
		op.Return = int64(time.Since(c.start))
		c.mu.Lock()
		defer c.mu.Unlock()
		c.history = append(c.history, op)
		if reason == record.ReasonRetired {
			return errGone
		}
		return nil
	}
}

// entryOf finds an entry of the caller's copy by its leaf hash.
func (c *caller) entryOf(leaf string) (index int, err error) {
	err = c.copy.View(func(tx store.ReadTx) error {
		for n, err := tx.Entries(); index < int(n) && err == nil; index++ {
			entry, err := tx.Entry(uint64(index))
			if hash := ledger.LeafHash(entry); err != nil || fmt.Sprintf("%x", hash[:]) == leaf {
				return err
			}
		}
		return errors.New("it acts on no entry")
	})
	return index, err
}

// live has everybody ask until there are so many answers; on the way something befalls them three times.
func (h *house) live(answers int, befalls func(nth int)) {
	hands := make(chan string, 2*callers)
	for n := range 2 * callers {
		hands <- staff(n)
	}
	count := func() int {
		h.mu.Lock()
		defer h.mu.Unlock()
		return len(h.history)
	}
	var wg sync.WaitGroup
	for range callers {
		c := &caller{house: h, r: rand.New(rand.NewPCG(h.r.Uint64(), 1)), who: <-hands, copy: newOwn()}
		wg.Go(func() {
			for n := 0; n < answers && !h.Failed(); n = count() {
				switch err := c.ask(n * (someJobs - jobsAtOne + 1) / answers); {
				case errors.Is(err, errGone) && len(hands) > 0:
					c.who = <-hands
				case errors.Is(err, errGone):
					return
				case err != nil:
					h.Errorf("%s: %v", c.who, err)
				}
			}
		})
	}
	over := make(chan struct{})
	go func() { wg.Wait(); close(over) }()
	for next := 1; ; {
		select {
		case <-over:
			for i := range h.servers {
				h.kill(i)
			}
			return
		case <-time.After(time.Millisecond):
		}
		if count() >= next*answers/4 && next < 4 {
			befalls(next)
			next++
			h.kills++
		}
	}
}

// settle adds to the history what somebody who was retired could not be told, and what became of submissions when they
// came; and the record says in the end what the paper does.
func (h *house) settle() {
	afterCheck(h, h.place, func(s *record.State) {
		for id, op := range h.unheard {
			if index, _, ok := s.Request(id); ok {
				op.Output, op.Return = answered{index: int(index)}, int64(time.Since(h.start))
				h.history = append(h.history, op)
			}
		}
		for i, op := range h.history {
			a := op.Output.(answered)
			if op.Input.(step).kind == "submit" && a.reason == "" {
				sub := submissionBy(s, op.Input.(step).job, a.index)
				a.by, a.why = int(sub.GetByCorridor()), sub.GetNotCovered()
				h.history[i].Output = a
			}
		}
		said, f := inOrder(h.begin, h.history)
		for i, j := range f.jobs {
			if have, want := inRecord(s, uint32(i+1)), f.told(j); have != want && !h.Failed() {
				h.Errorf("job %d is\n%s\nand by the paper\n%s\n%s", i+1, have, want, said)
			}
		}
		h.end = f
	})
}

func submissionBy(s *record.State, job, entry int) *recordv1.Submission {
	j, _ := s.Job(uint32(job))
	for _, sub := range j.GetSubmissions() {
		if sub.GetSubmitted().GetEntry() == uint32(entry) {
			return sub
		}
	}
	return nil
}

// inRecord tells what the record has of a job, in the paper's words.
func inRecord(s *record.State, job uint32) (out string) {
	j, _ := s.Job(job)
	for _, sub := range j.GetSubmissions() {
		out += fmt.Sprintln(sub.GetState(), sub.GetByCorridor(), sub.GetNotCovered(), sub.GetLatest(), sub.GetCollected(), sub.GetJudgedWorse() != nil)
	}
	for _, c := range j.GetCorridors() {
		out += fmt.Sprintln(c.GetState() == "open", c.GetReleased(), c.GetKept())
	}
	taken, _ := s.Release(job)
	return out + fmt.Sprintln(j.GetState() == "open", s.Covering(job).GetNumber(), taken.GetNumber())
}

func (h *house) judged(history []porcupine.Operation) porcupine.CheckResult {
	return porcupine.CheckOperationsTimeout(onPaper(h.begin), history, time.Minute)
}

// overlaps counts the pairs of steps neither of which was answered before the other was asked for.
func overlaps(history []porcupine.Operation) (n int) {
	for i, a := range history {
		for _, b := range history[:i] {
			if a.Call < b.Return && b.Call < a.Return {
				n++
			}
		}
	}
	return n
}

// TestHistories: whatever several people ask for at once, of the same jobs, on copies that are behind, while the
// server is killed now and then: it is answered as if it had been asked for one after the other.
func TestHistories(t *testing.T) {
	testHistories(t, func(t *testing.T) (*house, func(int)) {
		h := newHouse(t, newFolderPlace(t), 1)
		return h, h.killOne
	})
}

// testHistories judges histories of houses, with what befalls each of them.
func testHistories(t *testing.T, next func(*testing.T) (*house, func(nth int))) {
	kills, overlapping, asked := 0, 0, map[string]int{}
	one := func() {
		h, befalls := next(t)
		h.live(200, befalls)
		h.settle()
		if verdict := h.judged(h.history); verdict != porcupine.Ok {
			said, _ := inOrder(h.begin, h.history)
			t.Errorf("no order explains the history (%s):\n%s", verdict, said)
		}
		h.controls()
		kills += h.kills
		overlapping += overlaps(h.history)
		for _, op := range h.history {
			s, a := op.Input.(step), op.Output.(answered)
			if a.by > 0 {
				a.reason = "released"
			} else if a.why != "" {
				a.reason = "waits: " + a.why
			}
			asked[s.kind+" "+a.reason]++
		}
	}
	storetest.During(t, 0, one)
	for tries := 0; tries < 5 && (asked["collect "] == 0 || asked["submit released"] == 0) && !t.Failed(); tries++ { // chance may keep everybody at other things
		one()
	}
	t.Logf("%d kills, %d pairs overlap; %v", kills, overlapping, asked)
	if kills == 0 || overlapping == 0 || asked["collect "] == 0 || asked["sign "] == 0 || asked["submit released"] == 0 {
		t.Error("the histories show nothing")
	}
}
