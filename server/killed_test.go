package server

import (
	"cmp"
	"context"
	"crypto/ed25519"
	crypto "crypto/rand"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"reflect"
	"strconv"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
	servicev1 "witnessmark/proto/witnessmark/service/v1"
	"witnessmark/store"
	"witnessmark/store/memory"
	"witnessmark/store/postgres/pgtest"
	"witnessmark/store/record"
	"witnessmark/store/signoff"
	"witnessmark/store/storetest"
)

// servedDir makes the test binary a server of that folder, and of the database where there is one, at that address, and
// killAt one that kills itself there, the nth time that it comes by: see TestKilledWhileWriting. servedUnguarded takes
// out what keeps a server from showing what the database may yet lose.
const (
	servedDir       = "WITNESSMARK_TEST_SERVE"
	servedDatabase  = "WITNESSMARK_TEST_DATABASE"
	servedAt        = "WITNESSMARK_TEST_LISTEN"
	servedUnguarded = "WITNESSMARK_TEST_UNGUARDED"
	killAt          = "WITNESSMARK_TEST_KILL"
	onlyMoved       = "WITNESSMARK_TEST_MOVE"
)

func TestMain(m *testing.M) {
	dir := os.Getenv(servedDir)
	if dir == "" {
		os.Exit(m.Run())
	}
	k := &killer{}
	step, n, _ := strings.Cut(os.Getenv(killAt), ":")
	left, _ := strconv.ParseInt(n, 10, 64)
	k.step = step
	k.left.Store(left)
	if os.Getenv(onlyMoved) != "" {
		_, err := Place{Dir: dir, Database: os.Getenv(servedDatabase)}.move(func(step string) error { k.at(step); return nil })
		fmt.Fprintln(os.Stderr, "it was not killed:", err)
		os.Exit(2)
	}
	s, err := Start(Options{
		Place:  Place{Dir: dir, Database: os.Getenv(servedDatabase), Log: slog.New(slog.NewTextHandler(os.Stderr, nil))},
		Listen: cmp.Or(os.Getenv(servedAt), "127.0.0.1:0"),
		wrap: func(e store.Engine) store.Engine {
			if os.Getenv(servedUnguarded) != "" {
				unguard(e)
			}
			k.Engine = e
			return k
		},
	})
	if err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(2)
	}
	keep := s.core.keep
	s.core.keep = func(note []byte) error { err := keep(note); k.at("before the answer"); return err }
	fmt.Println(s.Addr())
	select {} // until it is killed
}

// unguard takes out an engine's guard, as its own tests do.
func unguard(e store.Engine) {
	guard := reflect.ValueOf(e).Elem().FieldByName("unguarded")
	*(*bool)(guard.Addr().UnsafePointer()) = true
}

// killer is an engine that kills its process at a step of a commit.
type killer struct {
	store.Engine
	step string
	left atomic.Int64
}

// The steps of a commit; at none of them, some other process kills it.
var killSteps = []string{"", "before it", "among the writes", "before the sync", "before the checkpoint", "before the answer"}

func (k *killer) at(step string) {
	if step == k.step && k.left.Add(-1) == 0 {
		p, _ := os.FindProcess(os.Getpid())
		_ = p.Kill()
		select {}
	}
}

func (k *killer) Update(fn func(store.WriteTx) error) error {
	k.at("before it")
	err := k.Engine.Update(func(w store.WriteTx) error {
		err := fn(&killingTx{w, k})
		k.at("before the sync")
		return err
	})
	k.at("before the checkpoint")
	return err
}

type killingTx struct {
	store.WriteTx
	k *killer
}

func (t *killingTx) PutEntry(index uint64, entry []byte) error {
	t.k.at("among the writes")
	return t.WriteTx.PutEntry(index, entry)
}

func (t *killingTx) PutBlob(sha string, packed []byte) error {
	t.k.at("among the writes")
	return t.WriteTx.PutBlob(sha, packed)
}

func (t *killingTx) PutDocument(kind, key string, value []byte) error {
	t.k.at("among the writes")
	return t.WriteTx.PutDocument(kind, key, value)
}

// TestKilledWhileWriting kills a server in the middle of its work, at random moments and at each step of a
// commit, while eight people write at once. Whatever it answered is in the ledger afterwards, once; what it
// did not answer is sent again as it was, and found if it is there; and check finds nothing. Whether
// the disk keeps what was synced, no killed process can show: that is TestCrashImages'.
func TestKilledWhileWriting(t *testing.T) {
	t.Run("folder", func(t *testing.T) {
		killedWhileWriting(t, 4*time.Second, func(b *bench) Place { return in(b.spoiled(nil)) })
	})
	t.Run("database", func(t *testing.T) {
		killedWhileWriting(t, 0, func(b *bench) Place {
			p := in(b.spoiled(nil))
			p.Database = pgtest.URL(t)
			if _, err := p.Move(); err != nil {
				t.Fatal(err)
			}
			return p
		})
	})
}

func killedWhileWriting(t *testing.T, least time.Duration, place func(*bench) Place) {
	r := storetest.Rand(t)
	b := newSmallBench(t)
	b.smallJob(1)
	b.stop()
	total, k := tally{hits: map[string]int{}}, newKilling(b, r, place(b))
	storetest.During(t, least, func() {
		for _, step := range killSteps {
			k.round(&total, step)
		}
		if k.rounds >= 30 { // what is checked grows with every round
			k.finish(&total)
			k = newKilling(b, r, place(b))
		}
	})
	k.finish(&total)
	t.Logf("killed %v; %d actions answered; of those not answered, %d were there and %d were not", total.hits, total.answered, total.there, total.notThere)
	for _, step := range killSteps {
		if total.hits[step] == 0 {
			t.Errorf("never killed %q", step)
		}
	}
}

type tally struct {
	hits                      map[string]int
	answered, there, notThere int
}

const writers = 8

// killing is one ledger that is served and killed again and again, and what its writers know of it.
type killing struct {
	b       *bench
	r       *rand.Rand
	place   Place
	begun   int // entries before all this
	rounds  int
	mu      sync.Mutex
	known   map[uint64]string // request ids, by the entries that were answered
	waiting [writers]*sent    // not answered
}

// sent is a signed action as it is on its writer's disk.
type sent struct {
	id       string
	envelope []byte
	openings []*recordv1.Opening
	files    map[string][]byte
	there    *uint64 // the entry that it is, as check saw it
}

func newKilling(b *bench, r *rand.Rand, p Place) *killing {
	k := &killing{b: b, r: r, place: p, known: map[uint64]string{}}
	out, err := p.Check()
	if err != nil {
		b.Fatal(err)
	}
	k.begun = int(out.Entries)
	return k
}

// round serves the folder in a process of its own until that is killed, and looks at what is left.
func (k *killing) round(total *tally, step string) {
	t := k.b.TB
	t.Helper()
	k.rounds++
	after := 1 + k.r.IntN(6) // times, or actions answered
	if step == "among the writes" {
		after = 1 + k.r.IntN(150)
	}
	cmd, addr, _ := serveApart(t, k.place, fmt.Sprintf("%s=%s:%d", killAt, step, after))
	before := len(k.known)
	cut := k.write(addr, 60, func(answered int) {
		if step == "" && answered == after {
			_ = cmd.Process.Kill()
		}
	})
	if cut > 0 {
		total.hits[step]++
	} else {
		_ = cmd.Process.Kill() // it never came by that step so often
	}
	_ = cmd.Wait() // its store is let go of
	total.answered += len(k.known) - before
	k.check(total)
}

// write has everybody send what waits, and then actions of their own, until the server is gone; it answers with
// how many were cut off.
func (k *killing) write(addr string, each int, answered func(n int)) (cut int) {
	t := k.b.TB
	var wg sync.WaitGroup
	begun := len(k.known)
	for who := range writers {
		name := []string{"lead", "technician"}[who%2]
		wg.Go(func() {
			conn := dial(t, addr, testKey(name), serverKey(t, k.place.Dir))
			own, err := fetched(conn)
			for i := 0; err == nil && i < each; i++ {
				s := k.waiting[who]
				if s == nil {
					s = k.signed(own, name)
					k.waiting[who] = s
				}
				var a *servicev1.Admitted
				if a, _, err = bring(t, conn, s.files, s.envelope, s.openings...); err != nil {
					break
				}
				k.mu.Lock()
				if s.there != nil && *s.there != a.GetIndex() {
					t.Errorf("it was entry %d, and was answered as %d", *s.there, a.GetIndex())
				}
				if id, twice := k.known[a.GetIndex()]; twice {
					t.Errorf("entry %d is the answer to %s and to %s", a.GetIndex(), id, s.id)
				}
				k.known[a.GetIndex()] = s.id
				answered(len(k.known) - begun)
				k.mu.Unlock()
				k.waiting[who] = nil
			}
			k.mu.Lock()
			defer k.mu.Unlock()
			if err != nil {
				cut++
			}
			if faultOf(err).GetReason() != "" && status.Code(err) != codes.Unavailable {
				t.Errorf("refused: %v", err)
			}
		})
	}
	wg.Wait()
	return cut
}

// signed is an enrolment by the lead, or a note with a film by the technician, on a copy that may be older than
// the server's.
func (k *killing) signed(own *memory.Engine, name string) *sent {
	k.mu.Lock()
	defer k.mu.Unlock()
	s := &sent{}
	a := enrolAction(crypto.Text(), testKey(crypto.Text()), "technician")
	if name == "technician" {
		film := make([]byte, k.r.IntN(100_000))
		_, _ = crypto.Read(film)
		a, s.openings = k.b.note(1, "seen on the road", film)
		s.files = map[string][]byte{hashOf(film): film}
	}
	err := record.View(own, func(st *record.State) (err error) {
		s.envelope, err = signoff.Seal(carry(st, a), testKey(name))
		return err
	})
	if err != nil {
		k.b.Errorf("seal: %v", err)
	}
	s.id = a.GetRequestId()
	return s
}

// check holds the store against what was answered.
func (k *killing) check(total *tally) {
	t := k.b.TB
	t.Helper()
	afterCheck(t, k.place, func(s *record.State) {
		for index, id := range k.known {
			if at, _, ok := s.Request(id); !ok || at != index {
				t.Errorf("%s was answered as entry %d and is %d", id, index, at)
			}
		}
		there := 0
		for _, sent := range k.waiting {
			if sent == nil {
				continue
			}
			at, _, ok := s.Request(sent.id)
			if sent.there = nil; ok {
				sent.there = &at
				there++
			} else {
				total.notThere++
			}
		}
		total.there += there
		if want := k.begun + len(k.known) + there; int(s.Size()) != want {
			t.Errorf("%d entries, want %d", s.Size(), want)
		}
	})
}

// afterCheck looks at what a ledger says that is not served, in which check finds nothing.
func afterCheck(t testing.TB, p Place, fn func(*record.State)) {
	t.Helper()
	out, err := p.Check()
	if err != nil || len(out.Found) > 0 {
		t.Fatalf("check: %+v %v", out, err)
	}
	h, err := p.open(true)
	if err != nil {
		t.Fatal(err)
	}
	defer h.close()
	if err := record.View(h.engine, func(s *record.State) error { fn(s); return nil }); err != nil {
		t.Fatal(err)
	}
}

// finish sends what still waits, and nothing is left over.
func (k *killing) finish(total *tally) {
	t := k.b.TB
	t.Helper()
	cmd, addr, _ := serveApart(t, k.place)
	k.write(addr, 1, func(int) {})
	_ = cmd.Process.Kill()
	_ = cmd.Wait()
	k.check(total)
	left, err := filepath.Glob(filepath.Join(k.place.Dir, ".*"))
	most := 0
	if k.place.Database != "" {
		most = 1 // what the last one spooled, which the next takes away
	}
	if err != nil || len(left) > most {
		t.Errorf("servers that were killed left %q (%v)", left, err)
	}
	for who, s := range k.waiting {
		if s != nil {
			t.Errorf("writer %d was never answered", who)
		}
	}
}

// serveApart serves a ledger in a process of its own, which the test's end kills.
func serveApart(t testing.TB, p Place, env ...string) (cmd *exec.Cmd, addr string, logs io.Reader) {
	t.Helper()
	cmd = exec.Command(os.Args[0])
	cmd.Env = append(append(os.Environ(), servedDir+"="+p.Dir, servedDatabase+"="+p.Database), env...)
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

func serverKey(t testing.TB, dir string) ed25519.PublicKey {
	t.Helper()
	key, err := signoff.ParsePrivateKey(keyFile, fileBytes(t, filepath.Join(dir, keyFile)), nil)
	if err != nil {
		t.Fatal(err)
	}
	return publicOf(key)
}

// fetched is a copy of the ledger, judged.
func fetched(conn *grpc.ClientConn) (*memory.Engine, error) {
	ctx, cancel := context.WithTimeout(context.Background(), 30*time.Second)
	defer cancel()
	own := newOwn()
	return own, fetch(ctx, own, servicev1.NewRecordClient(conn))
}
