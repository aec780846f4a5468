package server

import (
	"errors"
	"fmt"
	"io"
	"math/rand/v2"
	"os/exec"
	"reflect"
	"slices"
	"strings"
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

// step is one action as a caller asks for it: on is the entry that it acts on, as its copy had it.
type step struct {
	kind, who, about string // about whom, of a retirement
	job, sub, on     int
	compromised      bool
}

// answered is the entry that a step became, or the reason why it was refused.
type answered struct {
	index  int
	reason string
}

// floor is a workshop as somebody would keep it on paper: what was done, and nothing of how it is stored. It is
// never changed, only copied.
type floor struct {
	last  int // entry
	gone  map[string]bool
	named map[string]int // the last entry about a person
	jobs  []jobOnPaper
}

type jobOnPaper struct {
	open         bool
	latest, read int // entries; no read: 0
	subs         []subOnPaper
}

type subOnPaper struct {
	state, author, signer string
	latest, signed        int
	collected             bool
}

func (f floor) copied() floor {
	out := floor{f.last, map[string]bool{}, map[string]int{}, slices.Clone(f.jobs)}
	for name := range f.gone {
		out.gone[name] = true
	}
	for name, at := range f.named {
		out.named[name] = at
	}
	for i := range out.jobs {
		out.jobs[i].subs = slices.Clone(out.jobs[i].subs)
	}
	return out
}

// verdict is why a step is refused, by the rules of the house; empty if it is not.
func (f floor) verdict(s step) string {
	if f.gone[s.who] {
		return record.ReasonRetired
	}
	if s.kind == "retire" {
		switch {
		case f.gone[s.about]:
			return record.ReasonNoChange
		case f.named[s.about] != s.on:
			return record.ReasonActsOn
		}
		return ""
	}
	j := f.jobs[s.job-1]
	if !j.open && s.kind != "return" && s.kind != "reopen" {
		return record.ReasonClosed
	}
	var sub subOnPaper
	switch {
	case s.sub > len(j.subs): // not yet
		return record.ReasonNotFound
	case s.sub > 0:
		sub = j.subs[s.sub-1]
	}
	waits, out := sub.state == record.Waiting, sub.state == record.Released
	want := j.latest
	switch s.kind {
	case "submit":
		if want = j.read; want == 0 {
			return record.ReasonNoRead
		}
	case "sign":
		if want = sub.latest; !waits {
			return record.ReasonState
		}
		if sub.author == s.who {
			return record.ReasonAuthor
		}
	case "return":
		if want = sub.latest; !waits && !out {
			return record.ReasonState
		}
	case "withdraw":
		if want = sub.latest; !waits {
			return record.ReasonState
		}
	case "collect":
		if want = sub.signed; !out {
			return record.ReasonState
		}
	case "void":
		switch want = j.read; {
		case j.read == 0:
			return record.ReasonNoChange
		case len(j.subs) > 0:
			return record.ReasonState
		}
	case "reopen":
		if j.open {
			return record.ReasonNoChange
		}
	}
	if want != s.on {
		return record.ReasonActsOn
	}
	return ""
}

// done is the floor after a step.
func (f floor) done(s step, index int) floor {
	out := f.copied()
	out.last = index
	if s.kind == "retire" {
		out.gone[s.about], out.named[s.about] = true, index
		for i := range out.jobs {
			for k, sub := range out.jobs[i].subs {
				if s.compromised && sub.state == record.Released && sub.signer == s.about && !sub.collected {
					sub.state, sub.latest = record.Waiting, index
					for _, newer := range out.jobs[i].subs[k+1:] {
						if newer.author == sub.author {
							sub.state = record.Replaced
						}
					}
					out.jobs[i].subs[k] = sub
				}
			}
		}
		return out
	}
	j := &out.jobs[s.job-1]
	var sub *subOnPaper
	if s.sub > 0 {
		sub = &j.subs[s.sub-1]
	}
	switch s.kind {
	case "submit":
		for i := range j.subs {
			if j.subs[i].state == record.Waiting && j.subs[i].author == s.who {
				j.subs[i].state = record.Replaced
			}
		}
		j.subs = append(j.subs, subOnPaper{state: record.Waiting, author: s.who, latest: index})
	case "sign":
		sub.state, sub.signer, sub.signed, sub.latest, sub.collected = record.Released, s.who, index, index, false
	case "return":
		sub.state, sub.latest = record.Returned, index
	case "withdraw":
		sub.state, sub.latest = record.Withdrawn, index
	case "collect":
		sub.collected = true
	case "void":
		j.read = 0
	case "amend":
		j.latest = index
	case "close", "reopen":
		j.open, j.latest = s.kind == "reopen", index
	}
	return out
}

// onPaper is the model that a history is judged by: there is one order of all that was asked, in which nothing
// comes before what was answered before it was asked, each step is answered as the floor then has it, and
// each entry is the next one.
func onPaper(begin floor) porcupine.Model {
	return porcupine.Model{
		Init: func() any { return begin },
		Step: func(state, in, out any) (bool, any) {
			f, s, a := state.(floor), in.(step), out.(answered)
			if a.reason != "" {
				return f.verdict(s) == a.reason, f
			}
			if f.verdict(s) != "" || a.index != f.last+1 {
				return false, f
			}
			return true, f.done(s, a.index)
		},
		Equal: func(a, b any) bool { return reflect.DeepEqual(a, b) },
	}
}

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

var wishes = strings.Fields(`submit submit submit submit submit submit sign sign sign sign sign sign sign sign sign
	collect collect collect collect collect collect collect collect collect return withdraw void amend close reopen retire`)

// wish draws a step for one of the jobs that everybody is at, and makes the action of it; nil where its own copy
// has nothing to do it to.
func (c *caller) wish(at int) (s step, a *recordv1.Action, openings []*recordv1.Opening) {
	s = step{kind: wishes[c.r.IntN(len(wishes))], who: c.who, job: at + c.r.IntN(jobsAtOne) + 1}
	var j *recordv1.Job
	_ = c.View(func(st *record.State) error { j, _ = st.Job(uint32(s.job)); return nil })
	if j.GetState() == "closed" && c.r.IntN(2) == 0 {
		s.kind = "reopen"
	}
	job, subs := uint32(s.job), j.GetSubmissions()
	if slices.Contains([]string{"sign", "return", "withdraw", "collect"}, s.kind) {
		if len(subs) == 0 {
			return s, nil, nil
		}
		s.sub = c.likely(s.kind, subs)
	}
	made := smallMap(uint32(s.job))
	n, sha := uint32(s.sub), hashOf(made)
	switch s.kind {
	case "submit":
		a, openings = c.submit(job, made)
	case "sign":
		so := &recordv1.SignOff{Job: job, Submission: n, ImageSha256: sha, Reason: "fits the parts", Because: map[string]string{}}
		for _, key := range subs[n-1].GetJudgement().GetWarnings() {
			so.Because[key] = "seen on the rolling road"
		}
		a = &recordv1.Action{Body: &recordv1.Action_SignOff{SignOff: so}}
	case "return":
		a = &recordv1.Action{Body: &recordv1.Action_Return{Return: &recordv1.Return{Job: job, Submission: n, ImageSha256: sha, Reason: "too lean"}}}
	case "withdraw":
		if subs[n-1].GetSubmitted().GetPerson() == c.who {
			a = &recordv1.Action{Body: &recordv1.Action_Withdraw{Withdraw: &recordv1.Withdraw{Job: job, Submission: n}}}
		}
	case "collect":
		a = c.collect(job, n, sha)
	case "void":
		a = &recordv1.Action{Body: &recordv1.Action_Void{Void: &recordv1.VoidRead{Job: job, Read: 1, Because: "the wrong car"}}}
	case "amend":
		d := &recordv1.JobDetails{Plate: &recordv1.Sealed{Commitment: j.GetPlate().GetCommitment()}, Frame: &recordv1.Sealed{Commitment: j.GetFrame().GetCommitment()},
			Limits: j.GetLimits(), Parts: []string{fmt.Sprint("wheel ", c.r.IntN(1000))}}
		a = &recordv1.Action{Body: &recordv1.Action_Amend{Amend: &recordv1.AmendJob{Job: job, Details: d}}}
	case "close":
		a = closing(job)
	case "reopen":
		a = &recordv1.Action{Body: &recordv1.Action_Reopen{Reopen: &recordv1.ReopenJob{Job: job, Because: "another day"}}}
	case "retire":
		if c.r.IntN(4) == 0 {
			s.about, s.job, s.compromised = staff(c.r.IntN(callers)), 0, c.r.IntN(2) == 0
			a = &recordv1.Action{Body: &recordv1.Action_Retire{Retire: &recordv1.Retire{Name: s.about, Compromised: s.compromised}}}
		}
	}
	return s, a, openings
}

// likely is a submission that the step is mostly right for.
func (c *caller) likely(kind string, subs []*recordv1.Submission) int {
	want := map[string]string{"sign": record.Waiting, "withdraw": record.Waiting, "collect": record.Released, "return": record.Released}[kind]
	for i, sub := range slices.Backward(subs) {
		if own := sub.GetSubmitted().GetPerson() == c.who; sub.GetState() == want && own == (kind == "withdraw") && c.r.IntN(5) > 0 {
			return i + 1
		}
	}
	return 1 + c.r.IntN(len(subs))
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
	var envelope []byte
	err = c.View(func(st *record.State) (err error) {
		carry(st, a)
		envelope, err = signoff.Seal(a, testKey(c.who))
		return err
	})
	if err == nil {
		s.on, err = c.entryOf(a.GetActsOn())
	}
	if err != nil {
		return err
	}
	files := map[string][]byte{}
	for sha, report := range made.Reports {
		files[string(sha)] = report
	}
	if s.kind == "submit" {
		files[a.GetSubmission().GetImage().GetSha256()] = smallMap(uint32(s.job))
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

// settle adds to the history what somebody who was retired could not be told.
func (h *house) settle() {
	afterCheck(h, h.place, func(s *record.State) {
		for id, op := range h.unheard {
			if index, _, ok := s.Request(id); ok {
				op.Output, op.Return = answered{index: int(index)}, int64(time.Since(h.start))
				h.history = append(h.history, op)
			}
		}
	})
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
			t.Errorf("no order explains the history (%s):\n%s", verdict, inOrder(h.begin, h.history))
		}
		h.controls()
		kills += h.kills
		overlapping += overlaps(h.history)
		for _, op := range h.history {
			asked[op.Input.(step).kind+" "+op.Output.(answered).reason]++
		}
	}
	storetest.During(t, 0, one)
	for tries := 0; tries < 5 && asked["collect "] == 0 && !t.Failed(); tries++ { // chance may keep everybody at other things
		one()
	}
	t.Logf("%d kills, %d pairs overlap; %v", kills, overlapping, asked)
	if kills == 0 || overlapping == 0 || asked["collect "] == 0 || asked["sign "] == 0 {
		t.Error("the histories show nothing")
	}
}

// controls spoil a history: a judge who takes them judges nothing.
func (h *house) controls() {
	h.Helper()
	spoil := func(what string, fn func(list []porcupine.Operation) []porcupine.Operation) {
		if list := fn(slices.Clone(h.history)); list != nil && h.judged(list) != porcupine.Illegal {
			h.Errorf("%s is taken for right", what)
		}
	}
	spoil("an answer that is not in the ledger", func(list []porcupine.Operation) []porcupine.Operation {
		at := slices.IndexFunc(list, func(op porcupine.Operation) bool { return op.Output.(answered).reason == "" })
		return slices.Delete(list, at, at+1)
	})
	spoil("an entry twice", func(list []porcupine.Operation) []porcupine.Operation {
		at := slices.IndexFunc(list, func(op porcupine.Operation) bool { return op.Output.(answered).reason == "" })
		return append(list, list[at])
	})
	spoil("a refusal as an entry", func(list []porcupine.Operation) []porcupine.Operation {
		at := slices.IndexFunc(list, func(op porcupine.Operation) bool { return op.Output.(answered).reason != "" })
		if at < 0 {
			return nil
		}
		list[at].Output = answered{index: h.begin.last + 1}
		return list
	})
	spoil("an entry before it was asked for", func(list []porcupine.Operation) []porcupine.Operation {
		slices.SortFunc(list, func(a, b porcupine.Operation) int { return int(a.Return - b.Return) })
		for i, a := range list {
			for k, b := range list[i+1:] {
				if a.Output.(answered).reason == "" && b.Output.(answered).reason == "" && a.Return < b.Call {
					list[i].Output, list[i+1+k].Output = b.Output, a.Output
					return list
				}
			}
		}
		return nil
	})
}

// inOrder tells a history by its entries, and what of it does not fit.
func inOrder(f floor, history []porcupine.Operation) (out string) {
	entries := slices.DeleteFunc(slices.Clone(history), func(op porcupine.Operation) bool { return op.Output.(answered).reason != "" })
	slices.SortFunc(entries, func(a, b porcupine.Operation) int { return a.Output.(answered).index - b.Output.(answered).index })
	for _, op := range entries {
		s, index := op.Input.(step), op.Output.(answered).index
		if why := f.verdict(s); why != "" || index != f.last+1 {
			return fmt.Sprintf("%s%d %+v: by the paper %q, after entry %d", out, index, s, why, f.last)
		}
		f = f.done(s, index)
	}
	for _, op := range history {
		if reason := op.Output.(answered).reason; reason != "" {
			out += fmt.Sprintf("%s: %+v\n", reason, op.Input)
		}
	}
	return "the entries fit; refused were\n" + out
}
