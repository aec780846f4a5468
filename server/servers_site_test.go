package server

import (
	"bytes"
	"context"
	"crypto/ed25519"
	"errors"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"google.golang.org/grpc"

	"witnessmark/client"
	recordv1 "witnessmark/proto/witnessmark/record/v1"
	servicev1 "witnessmark/proto/witnessmark/service/v1"
	"witnessmark/store/ledger"
	"witnessmark/store/postgres/pgtest"
	"witnessmark/store/record"
	"witnessmark/store/signoff"
	"witnessmark/store/storetest"
)

// site is a ledger in a database that two servers serve, each a process of its own, while eight people write there
// and others look. What they are told is kept, to be held against what is there in the end.
type site struct {
	*bench
	r       *rand.Rand
	env     []string // of the servers
	origin  string
	key     ed25519.PublicKey // the servers'
	begun   uint64            // entries before all this
	servers [2]*oneOfTwo
	hands   []*hand
	ctx     context.Context // of everybody
	leave   func()          // ends it
	over    chan struct{}   // closed when nobody is to begin writing anything more
	writing sync.WaitGroup
	looking sync.WaitGroup

	mu    sync.Mutex
	roots map[uint64]string // that were shown, by their size
	notes map[uint64]string // texts that were shown, by their entries
	heads int
	wrong []string // what nobody should have been told
}

// oneOfTwo is a server that is killed and started again at the same address.
type oneOfTwo struct {
	addr  string
	cmd   *exec.Cmd
	logs  *lockedBuffer
	ended chan struct{} // closed when its process is gone
	step  string        // at which it kills itself
}

// hand is somebody who writes notes in a job of their own, with a client that knows both addresses.
type hand struct {
	*site
	name   string
	job    uint32
	home   string
	client *client.Client
	// The texts that were answered, or found to be there after there was no answer, by entry; and how many were not sent.
	done             map[string]uint32
	settled, notSent int
}

// siteTally is what sites came to.
type siteTally struct{ kills, answered, settled, notSent, heads, notes int }

// newSite has a site's people begin. Addresses are of a network of their own on this machine, where nobody takes a
// port whose server is away.
func newSite(t *testing.T, url string, env ...string) *site {
	p := newFolderPlace(t)
	p.Database = url
	s := &site{bench: newSmallBenchIn(t, p), r: storetest.Rand(t), env: env, over: make(chan struct{}), roots: map[uint64]string{}, notes: map[uint64]string{}}
	for n := range writers {
		h := &hand{site: s, name: staff(n), job: uint32(n + 1), home: filepath.Join(t.TempDir(), "home"), done: map[string]uint32{}}
		s.enrol(h.name, "technician")
		s.smallJob(h.job)
		s.hands = append(s.hands, h)
	}
	s.key = serverKey(t, p.Dir)
	s.look(func(st *record.State) { s.begun, s.origin = st.Size(), ledger.Origin(st.GenesisSHA256()) })
	s.stop()
	for i := range s.servers {
		s.servers[i] = &oneOfTwo{addr: "127.0.0.2:0", logs: &lockedBuffer{}}
		s.start(i)
	}
	s.ctx, s.leave = context.WithTimeout(context.Background(), 3*time.Minute)
	t.Cleanup(s.leave)
	for i, h := range s.hands {
		addrs := s.servers[i%2].addr + "," + s.servers[(i+1)%2].addr
		s.writing.Go(func() {
			if err := h.login(addrs); err != nil {
				s.amiss("%s: login: %v", h.name, err)
				return
			}
			h.write()
		})
	}
	for _, one := range s.servers {
		s.looking.Go(func() { s.watch(one.addr) })
	}
	s.looking.Go(s.askInTurn)
	return s
}

// start starts a server; env may have it kill itself.
func (s *site) start(i int, env ...string) {
	s.Helper()
	one := s.servers[i]
	var logs io.Reader
	one.cmd, one.addr, logs = serveApart(s.TB, s.place, append(append(env, servedAt+"="+one.addr), s.env...)...)
	ended := make(chan struct{})
	go func() { _, _ = io.Copy(one.logs, logs); close(ended) }()
	one.ended = ended
}

// kill kills a server, and says whether it had killed itself.
func (s *site) kill(i int) (itself bool) {
	one := s.servers[i]
	select {
	case <-one.ended:
		itself = true
	default:
	}
	_ = one.cmd.Process.Kill()
	<-one.ended
	_ = one.cmd.Wait()
	return itself
}

func (s *site) isOver() bool {
	select {
	case <-s.over:
		return true
	default:
		return s.ctx.Err() != nil
	}
}

// amiss notes what nobody should have been told.
func (s *site) amiss(format string, args ...any) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.ctx.Err() == nil && len(s.wrong) < 20 {
		s.wrong = append(s.wrong, fmt.Sprintf(format, args...))
	}
}

func (h *hand) login(addrs string) error {
	pem, err := signoff.MarshalPrivateKey(testKey(h.name), h.name, nil)
	key := filepath.Join(filepath.Dir(h.home), "key")
	if err := errors.Join(err, os.WriteFile(key, pem, 0o600)); err != nil {
		return err
	}
	for {
		h.client, err = client.Login(h.ctx, &client.Home{Dir: h.home}, addrs, key, nil, func(string) error { return nil }, "")
		if client.KindOf(err) != client.Away {
			break
		}
		time.Sleep(20 * time.Millisecond)
	}
	if err == nil {
		h.Cleanup(func() { _ = h.client.Close() })
	}
	return err
}

// write writes notes, some with a film, until all is over, and settles what had no answer before the next.
func (h *hand) write() {
	film, random := filepath.Join(filepath.Dir(h.home), "film"), rand.NewChaCha8([32]byte{byte(h.job)})
	for n := 0; !h.isOver(); n++ {
		note := client.NewNote{About: record.Name{Job: h.job}, Text: fmt.Sprintf("%s, number %d", h.name, n)}
		if n%4 == 0 {
			bytes := make([]byte, random.Uint64()%100_000)
			_, _ = random.Read(bytes)
			if err := os.WriteFile(film, bytes, 0o600); err != nil {
				h.amiss("%v", err)
			}
			note.Files = []string{film}
		}
		job, err := h.client.AddNote(h.ctx, note)
		sent := err == nil
		if client.KindOf(err) == client.Away {
			job, sent, err = h.settle()
		}
		at, there := noteIn(job, note.Text)
		if err == nil && there != sent {
			err = fmt.Errorf("%s: it was sent: %v; it is there: %v", note.Text, sent, there)
		}
		if err != nil {
			h.amiss("%s: %v", h.name, err)
			return
		}
		if there {
			h.mu.Lock()
			h.done[note.Text] = at
			h.mu.Unlock()
		}
	}
}

// settle has what is pending settled, as any next command does, and answers with the job as it is then, and whether
// there was something.
func (h *hand) settle() (job *recordv1.Job, sent bool, err error) {
	pending, err := os.ReadDir(filepath.Join(h.home, "pending"))
	if err != nil && !errors.Is(err, os.ErrNotExist) {
		return nil, false, err
	}
	for err = h.client.Resume(h.ctx); client.KindOf(err) == client.Away; err = h.client.Resume(h.ctx) {
		time.Sleep(10 * time.Millisecond)
	}
	if sent = len(pending) > 0; sent {
		h.settled++
	} else {
		h.notSent++
		time.Sleep(20 * time.Millisecond)
	}
	if err == nil {
		job, err = h.client.Job(h.job)
	}
	return job, sent, err
}

func noteIn(job *recordv1.Job, text string) (entry uint32, there bool) {
	for _, n := range slices.Backward(job.GetNotes()) {
		if n.GetText().GetText() == text {
			return n.GetAdded().GetEntry(), true
		}
	}
	return 0, false
}

// saw keeps a head that was shown, and answers with its size.
func (s *site) saw(note []byte) uint64 {
	head, err := ledger.OpenCheckpoint(note, s.origin, s.key)
	if err != nil {
		s.amiss("a head: %v", err)
		return 0
	}
	root := head.Root.String()
	s.mu.Lock()
	before, again := s.roots[head.Size]
	s.roots[head.Size] = root
	s.heads++
	s.mu.Unlock()
	if again && before != root {
		s.amiss("the head of %d entries was shown as %s and as %s", head.Size, before, root)
	}
	return head.Size
}

func (s *site) sawNotes(job *recordv1.Job) {
	for _, note := range job.GetNotes() {
		at, text := uint64(note.GetAdded().GetEntry()), note.GetText().GetText()
		s.mu.Lock()
		before, again := s.notes[at]
		s.notes[at] = text
		s.mu.Unlock()
		if again && before != text {
			s.amiss("entry %d was shown as %q and as %q", at, before, text)
		}
	}
}

// watch keeps the heads that a server tells whoever watches it.
func (s *site) watch(addr string) {
	conn := dial(s.TB, addr, testKey("lead"), s.key)
	for ; s.ctx.Err() == nil; time.Sleep(10 * time.Millisecond) {
		stream, err := servicev1.NewRecordClient(conn).Watch(s.ctx, &servicev1.WatchRequest{})
		var m *servicev1.WatchResponse
		for err == nil {
			if m, err = stream.Recv(); err == nil {
				s.saw(m.GetCheckpoint())
			}
		}
		conn.ResetConnectBackoff()
	}
}

// askInTurn asks both servers for their heads and for a job: none of them may be behind what the other showed.
func (s *site) askInTurn() {
	var seen uint64
	conns := s.toBoth("lead")
	for n := 0; s.ctx.Err() == nil; n++ {
		time.Sleep(10 * time.Millisecond)
		conn := conns[n%2]
		ctx, cancel := context.WithTimeout(s.ctx, 30*time.Second)
		head, err := servicev1.NewRecordClient(conn).Head(ctx, &servicev1.HeadRequest{})
		if err == nil {
			size := s.saw(head.GetCheckpoint())
			if size < seen {
				s.amiss("%d entries are shown after %d", size, seen)
			}
			seen = size
		}
		got, err := servicev1.NewJobsClient(conn).Get(ctx, &servicev1.JobsGetRequest{Number: uint32(1 + n%writers)})
		if err == nil {
			s.sawNotes(got.GetJob())
		} else {
			conn.ResetConnectBackoff()
		}
		cancel()
	}
}

// alone is a cluster of a test's own, and pair one with its synchronous standby. What they logged is told where the
// test fails.
func alone(t testing.TB) *pgtest.Cluster {
	c := pgtest.Start(t)
	tellLog(t, "database", c)
	return c
}

func pair(t testing.TB) (primary, standby *pgtest.Cluster) {
	primary = alone(t)
	standby = primary.Standby(t)
	tellLog(t, "standby", standby)
	return primary, standby
}

func tellLog(t testing.TB, what string, c *pgtest.Cluster) {
	t.Cleanup(func() {
		if t.Failed() {
			log := c.Log(t)
			t.Logf("%s: ... %s", what, log[max(0, len(log)-4000):])
		}
	})
}

// toBoth is connections to both servers.
func (s *site) toBoth(name string) (conns [2]*grpc.ClientConn) {
	for i, one := range s.servers {
		conns[i] = dial(s.TB, one.addr, testKey(name), s.key)
	}
	return conns
}

func (s *site) answered() (n int) {
	s.mu.Lock()
	defer s.mu.Unlock()
	for _, h := range s.hands {
		n += len(h.done)
	}
	return n
}

func (s *site) failed() bool {
	s.mu.Lock()
	defer s.mu.Unlock()
	return len(s.wrong) > 0
}

// goesOn waits until more was answered.
func (s *site) goesOn() {
	s.Helper()
	before := s.answered()
	s.until("more is answered", func() bool { return s.answered() >= before+writers || s.failed() })
}

// ends has everybody finish, and holds what they were told against what there is.
func (s *site) ends(total *siteTally) {
	s.Helper()
	close(s.over)
	s.writing.Wait()
	if s.ctx.Err() != nil {
		s.Error("somebody never had an answer")
	} else if !s.failed() {
		s.sameHeads()
		if _, err := s.hands[0].client.VerifyLedger(s.ctx, true); err != nil {
			s.amiss("verify: %v", err)
		}
	}
	s.endsNow(total)
	for _, line := range s.wrong {
		s.Error(line)
	}
	for i, one := range s.servers {
		logs := one.logs.String()
		for _, bad := range []string{"DATA RACE", "panic"} {
			if at := strings.Index(logs, bad); at >= 0 {
				s.Errorf("server %d: %s", i, logs[at:min(len(logs), at+4000)])
			}
		}
		if s.Failed() {
			s.Logf("server %d: ... %s", i, logs[max(0, len(logs)-4000):])
		}
	}
}

// endsNow is ends for those that nobody waits for.
func (s *site) endsNow(total *siteTally) {
	s.Helper()
	s.leave()
	s.writing.Wait()
	s.looking.Wait()
	for i := range s.servers {
		s.kill(i)
	}
	s.verdict()
	total.answered += s.answered()
	total.heads += s.heads
	total.notes += len(s.notes)
	for _, h := range s.hands {
		total.settled += h.settled
		total.notSent += h.notSent
	}
}

// sameHeads has both servers show the same, which goes as far as what was answered.
func (s *site) sameHeads() {
	var heads [2][]byte
	for i, conn := range s.toBoth("lead") {
		got, err := servicev1.NewRecordClient(conn).Head(within(s), &servicev1.HeadRequest{}, grpc.WaitForReady(true))
		if err != nil {
			s.amiss("the head of server %d: %v", i, err)
		}
		heads[i] = got.GetCheckpoint()
	}
	if !bytes.Equal(heads[0], heads[1]) {
		s.amiss("the servers show %s and %s", heads[0], heads[1])
	}
	if size := s.saw(heads[0]); size != s.begun+uint64(s.answered()) {
		s.amiss("%d entries are shown, want %d and %d", size, s.begun, s.answered())
	}
}

// verdict notes what was told and is not so.
func (s *site) verdict() {
	s.Helper()
	wrong := func(format string, args ...any) { s.wrong = append(s.wrong, fmt.Sprintf(format, args...)) }
	afterCheck(s, s.place, func(st *record.State) {
		there := map[uint64]string{}
		for _, h := range s.hands {
			job, _ := st.Job(h.job)
			for _, n := range job.GetNotes() {
				there[uint64(n.GetAdded().GetEntry())] = n.GetText().GetText()
			}
			for text, at := range h.done {
				if there[uint64(at)] != text {
					wrong("%s was answered as entry %d, which is %q", text, at, there[uint64(at)])
				}
			}
		}
		for at, text := range s.notes {
			if there[at] != text {
				wrong("%s was shown as entry %d, which is %q", text, at, there[at])
			}
		}
		for size, root := range s.roots {
			if size > st.Size() || st.Root(size).String() != root {
				wrong("a head of %d entries was shown that the ledger of %d has not", size, st.Size())
			}
		}
	})
}
