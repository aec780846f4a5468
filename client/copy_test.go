package client

import (
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"slices"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/store"
	"witnessmark/store/bolt"
	"witnessmark/store/memory"
	"witnessmark/store/record"
	"witnessmark/store/signoff"
)

const page = 4096

// seeded is a random source whose seed is told where a test fails.
func seeded(t *testing.T) *rand.Rand {
	seed := rand.Uint64()
	t.Cleanup(func() {
		if t.Failed() {
			t.Logf("seed %d", seed)
		}
	})
	return rand.New(rand.NewPCG(seed, 0))
}

// damages are ways in which a disk may give back other bytes than it was given.
func damages(r *rand.Rand, whole []byte) (out []damaged) {
	add := func(b []byte, format string, args ...any) {
		out = append(out, damaged{fmt.Sprintf(format, args...), b})
	}
	add(nil, "emptied")
	add(make([]byte, len(whole)), "zeroed")
	add([]byte("no store\n"), "text")
	for at := 0; at < len(whole); at += page {
		add(whole[:at], "cut at %d", at)
		for _, i := range []int{r.IntN(16), 16 + r.IntN(112), 16 + r.IntN(page-16), 16 + r.IntN(page-16)} { // header, elements, anywhere
			b := slices.Clone(whole)
			b[at+i] ^= 1 << r.IntN(8)
			add(b, "a bit of byte %d", at+i)
		}
		b := slices.Clone(whole)
		clear(b[at : at+page])
		add(b, "page %d zeroed", at/page)
	}
	for range 20 {
		at := r.IntN(len(whole))
		add(whole[:at], "cut at %d", at)
	}
	r.Shuffle(len(out), func(i, j int) { out[i], out[j] = out[j], out[i] })
	return out
}

type damaged struct {
	name string
	file []byte
}

// answer is what came of a damaged copy; of a process that died there is none.
type answer struct {
	died bool
	yes  bool
	kind Kind
	text string
	said int
}

// maxMemory is where a process that follows a damaged page without end is stopped.
const maxMemory = 1 << 30

// TestDamagedChild is one side of suffer: it tries one damaged copy after the other.
func TestDamagedChild(t *testing.T) {
	dir, mode := os.Getenv("WITNESSMARK_TEST_DAMAGED"), os.Getenv("WITNESSMARK_TEST_MODE")
	if dir == "" {
		return
	}
	go func() {
		for m := new(runtime.MemStats); m.HeapSys < maxMemory; time.Sleep(5 * time.Millisecond) {
			runtime.ReadMemStats(m)
		}
		os.Exit(3)
	}()
	home := &Home{Dir: filepath.Join(dir, "home-tech")}
	head, _ := os.ReadFile(filepath.Join(dir, "head"))
	i, _ := strconv.Atoi(os.Getenv("WITNESSMARK_TEST_FROM"))
	for ; ; i++ {
		b, err := os.ReadFile(filepath.Join(dir, fmt.Sprint("case", i)))
		if err != nil {
			return
		}
		if err := errors.Join(os.WriteFile(home.path(copyFile), b, 0o600), os.WriteFile(home.path(headFile), head, 0o600)); err != nil {
			t.Fatal(err)
		}
		said := 0
		if mode == "verify" {
			_, err = VerifyProof(home, filepath.Join(dir, "out.bin.proof.zip"), "")
		} else {
			c, openErr := Open(home, nil)
			if openErr != nil {
				t.Fatal(openErr)
			}
			c.Say = func(string) { said++ }
			_, err = c.Collect(ctx, Collecting{Job: 1, Out: filepath.Join(dir, "out.bin"), Frame: frame})
		}
		fmt.Printf("case %d %v %d %d %q\n", i, err == nil, KindOf(err), said, fmt.Sprint(err))
	}
}

// suffer has processes of their own try damaged copies: bbolt follows some damage until memory ends.
func (w *world) suffer(cases []damaged, mode string) []answer {
	w.Helper()
	head, err := os.ReadFile(w.tech.own.home.path(headFile))
	w.must(nil, err)
	w.write("head", head)
	for i, c := range cases {
		w.write(fmt.Sprint("case", i), c.file)
	}
	var out []answer
	for died := 0; len(out) < len(cases); died++ {
		patience, stop := context.WithTimeout(ctx, time.Minute)
		cmd := exec.CommandContext(patience, os.Args[0], "-test.run=^TestDamagedChild$")
		cmd.Env = append(os.Environ(), "WITNESSMARK_TEST_DAMAGED="+w.dir, "WITNESSMARK_TEST_MODE="+mode, fmt.Sprint("WITNESSMARK_TEST_FROM=", len(out)))
		printed, err := cmd.CombinedOutput()
		stop()
		for line := range strings.Lines(string(printed)) {
			var a answer
			var i int
			if n, _ := fmt.Sscanf(line, "case %d %t %d %d %q", &i, &a.yes, &a.kind, &a.said, &a.text); n == 5 {
				out = append(out, a)
			}
		}
		if len(out) < len(cases) {
			if code := cmd.ProcessState.ExitCode(); code != 3 && code != -1 || died > len(cases)/10 {
				w.Fatalf("%s: %v: %s", cases[len(out)].name, err, printed)
			}
			out = append(out, answer{died: true})
		}
	}
	return out
}

// A damaged copy verifies nothing (or was damaged where it does not matter): never does it say yes to
// what it once knew was recalled, and never does it accuse the server.
func TestDamagedCopyOffline(t *testing.T) {
	for _, recalled := range []bool{false, true} {
		t.Run(fmt.Sprintf("recalled %v", recalled), func(t *testing.T) {
			w := newWorldFor(t).released()
			w.must(nil, w.collect(w.tech))
			if recalled {
				w.must(w.lead.ReturnSubmission(ctx, 1, 1, "a slip"))
			}
			w.must(nil, w.tech.Sync(ctx))
			whole, err := os.ReadFile(w.tech.own.home.path(copyFile))
			w.must(nil, err)
			cases := damages(seeded(t), whole)
			found := 0
			for i, a := range w.suffer(cases, "verify") {
				switch {
				case a.died, a.yes && !recalled:
				case a.kind == Failed && !a.yes:
					found++
				case a.yes || !recalled || a.kind != Distrust || !strings.Contains(a.text, "was recalled by lead"):
					t.Errorf("%s: %+v", cases[i].name, a)
				}
				if strings.Contains(a.text, "\n") {
					t.Errorf("%s: not one line: %q", cases[i].name, a.text)
				}
			}
			if found < len(whole)/page {
				t.Errorf("only %d damages were noticed", found)
			}
		})
	}
}

// With the server in reach a damaged copy is set aside, said so, and fetched anew: whatever the
// damage, what was recalled meanwhile does not come out, and nobody is accused.
func TestDamagedCopyIsFetchedAgain(t *testing.T) {
	w := newWorldFor(t).released()
	w.must(nil, w.tech.Sync(ctx))
	whole, err := os.ReadFile(w.tech.own.home.path(copyFile))
	w.must(nil, err)
	w.must(w.lead.ReturnSubmission(ctx, 1, 1, "a slip"))
	cases := damages(seeded(t), whole)[:40]
	said := 0
	for i, a := range w.suffer(cases, "collect") {
		said += a.said
		if !a.died && (a.yes || a.kind != Refused || !strings.Contains(a.text, "1.1 is returned")) {
			t.Errorf("%s: %+v", cases[i].name, a)
		}
	}
	w.nothingWritten()
	if kept := w.tech.own.damaged(); said == 0 || len(kept) == 0 || len(kept) > keptDamaged {
		t.Errorf("%d times set aside, %d files kept", said, len(kept))
	}
	w.must(w.tech.VerifyLedger(ctx, true))
}

// A copy that is gone, or older than the head beside it, is fetched anew as well; away from the server
// nothing is verified meanwhile.
func TestCopyBehindItsHead(t *testing.T) {
	w := newWorld(t).released()
	w.must(nil, w.tech.Sync(ctx))
	home := w.tech.own.home
	old, err := os.ReadFile(home.path(copyFile))
	w.must(nil, err)
	w.must(nil, w.collect(w.tech))
	for name, change := range map[string]func(){
		"gone":  func() { w.must(nil, os.Remove(home.path(copyFile))) },
		"older": func() { w.must(nil, os.WriteFile(home.path(copyFile), old, 0o600)) },
	} {
		change()
		_, err := VerifyProof(home, w.path("out.bin.proof.zip"), "")
		w.refusedAs(err, Failed, "copy of the ledger")
		w.must(nil, w.tech.Sync(ctx))
		if _, err := VerifyProof(home, w.path("out.bin.proof.zip"), ""); err != nil {
			t.Errorf("%s: %v", name, err)
		}
	}
}

// What is fetched anew must have the kept head's root: a server that shows another ledger to whoever
// lost theirs is found out.
func TestDamagedCopyIsNoWayIn(t *testing.T) {
	w := newWorld(t).released()
	w.must(nil, w.tech.Sync(ctx))
	w.must(nil, os.Remove(w.tech.own.home.path(copyFile)))
	// A ledger that keeps all rules, and is another one from the last entry on that was seen.
	w.fake.told = w.fake.told[:len(w.fake.told)-1]
	w.fake.state = memory.New()
	w.must(nil, w.fake.update(func(s *record.State) error {
		for _, told := range w.fake.told {
			if _, err := s.Admit(told.GetEntry(), told.GetOpenings()); err != nil {
				return err
			}
		}
		return nil
	}))
	lead := w.login("elsewhere", "lead")
	for _, name := range []string{"one", "two"} {
		w.newKey(name)
		w.must(lead.Enrol(ctx, name, []string{"technician"}, w.path(name+".pub")))
	}
	for range 2 {
		w.refusedAs(w.tech.Sync(ctx), Distrust, "it forked within the 9 entries you have seen")
		w.refusedAs(w.collect(w.tech), Distrust, "it forked within the 9 entries you have seen")
	}
}

// A head that is damaged is no head: it says so, and accuses nobody.
func TestDamagedHead(t *testing.T) {
	w := newWorld(t).released()
	w.must(nil, w.collect(w.tech))
	path := w.tech.own.home.path(headFile)
	whole, err := os.ReadFile(path)
	w.must(nil, err)
	for i := range whole {
		b := slices.Clone(whole)
		b[i] ^= 1
		w.must(nil, os.WriteFile(path, b, 0o600))
		_, err := VerifyProof(w.tech.own.home, w.path("out.bin.proof.zip"), "")
		if err != nil && KindOf(err) != Failed {
			t.Fatalf("byte %d: %v", i, err)
		}
	}
	w.must(nil, os.WriteFile(path, whole[:len(whole)/2], 0o600))
	w.refusedAs(w.tech.Sync(ctx), Failed, "head.json is damaged")
}

func TestHeadOnlyAdvances(t *testing.T) {
	w := newWorld(t)
	own := w.tech.own
	w.must(nil, w.tech.Sync(ctx))
	now := w.tech.Head()
	older := now
	older.Size, older.Contact = now.Size-1, now.Contact.Add(time.Hour)
	w.must(nil, own.advance(older))
	if got := w.tech.Head(); got.Size != now.Size || got.Checkpoint != now.Checkpoint || !got.Contact.Equal(older.Contact) {
		t.Errorf("after an older head: %v", got)
	}
	other := now
	other.Root = strings.Repeat("0", 64)
	w.refusedAs(own.advance(other), Distrust, "two roots")
}

// Two clients of one person share the copy: what one verified, the other has.
func TestSharedHome(t *testing.T) {
	w := newWorld(t)
	w.must(nil, w.tech.Sync(ctx))
	b, err := Open(w.tech.own.home, nil)
	w.must(nil, err)
	defer b.Close()
	w.newKey("more")
	w.must(w.lead.Enrol(ctx, "more", []string{"technician"}, w.path("more.pub")))
	w.must(nil, w.tech.Sync(ctx))
	w.fake.tell(upTo(1)) // b has not seen the last entry itself
	w.refusedAs(b.Sync(ctx), Distrust, "older ledger")
	w.fake.tell(lie{})
	if people, err := b.People(); err != nil || len(people) != 4 {
		t.Errorf("%d people, %v", len(people), err)
	}
}

// Several commands of one person at once: each is admitted, and the copy is whole afterwards.
func TestCommandsAtOnce(t *testing.T) {
	w := newWorld(t)
	var all sync.WaitGroup
	fail := make(chan error, 12)
	for range 3 {
		c, err := Open(w.tech.own.home, nil)
		w.must(nil, err)
		defer c.Close()
		all.Go(func() {
			for range 4 {
				_, err := c.OpenJob(ctx, NewJob{Definition: "bench", Details: Details{Plate: "C3", Limits: "bench-98"}})
				fail <- err
			}
		})
	}
	all.Wait()
	close(fail)
	for err := range fail {
		w.must(nil, err)
	}
	if page, err := w.tech.FindJobs(JobFilter{}); err != nil || page.Found != 13 {
		t.Errorf("%v, %v", page, err)
	}
	w.must(w.tech.VerifyLedger(ctx, false))
}

// From an entry of an unknown kind on, entries are kept: looking works, deciding and verifying do not.
func TestUnknownKindIsKept(t *testing.T) {
	w := newWorld(t).released()
	w.must(nil, w.collect(w.tech))
	w.must(nil, w.lead.Sync(ctx))
	retire := &recordv1.Action{Body: &recordv1.Action_Retire{Retire: &recordv1.Retire{Name: "cal"}}}
	w.must(nil, w.lead.complete(retire))
	unknownKind(w)
	envelope, err := signoff.Seal(retire, w.lead.signer)
	w.must(nil, err)
	w.fake.add(envelope)
	w.must(nil, w.tech.Look(ctx))
	if page, err := w.tech.FindJobs(JobFilter{}); err != nil || page.Found != 1 {
		t.Errorf("%v, %v", page, err)
	}
	if n := int(w.tech.Head().Size); n != len(w.fake.told) {
		t.Errorf("%d entries of %d", n, len(w.fake.told))
	}
	_, err = w.open("C3")
	w.refusedAs(err, Upgrade, "does not know")
	_, err = VerifyProof(w.tech.own.home, w.path("out.bin.proof.zip"), "")
	w.refusedAs(err, Upgrade, "does not know")
	_, err = w.tech.VerifyLedger(ctx, false)
	w.refusedAs(err, Upgrade, "does not know")
}

// Without the server everything that was seen can still be looked at, and nothing can be done.
func TestAway(t *testing.T) {
	w := newWorld(t).released()
	w.must(nil, w.tech.Sync(ctx))
	_, err := w.tech.Review(ctx, 1, 1)
	w.must(nil, err)
	config := w.tech.own.config
	config.Server = "127.0.0.1:1"
	w.must(nil, w.tech.own.home.writeJSON(configFile, config))
	c, err := Open(w.tech.own.home, nil)
	w.must(nil, err)
	defer c.Close()
	w.must(nil, c.Look(ctx))
	if as, reached := c.AsOf(); reached || !as.Equal(w.tech.Head().Contact) {
		t.Errorf("as of %v, reached %v", as, reached)
	}
	if r, err := c.Review(ctx, 1, 1); err != nil || r.Report.GetVerdict() != "warning" {
		t.Errorf("a review of what was seen: %v", err)
	}
	if _, err := c.History(ctx, 1, ""); err != nil {
		t.Error(err)
	}
	w.refusedAs(c.Sync(ctx), Away, "cannot be reached")
	_, err = c.CloseJob(ctx, 1, "done", "")
	w.refusedAs(err, Away, "cannot be reached")
	w.refusedAs(w.collect(c), Away, "cannot be reached")
}

// A write that fails leaves the copy as it was: nothing is taken over, nobody is accused.
func TestFailedWrite(t *testing.T) {
	w := newWorld(t)
	w.must(nil, w.tech.Sync(ctx))
	before := w.tech.Head()
	w.newKey("more")
	w.must(w.lead.Enrol(ctx, "more", []string{"technician"}, w.path("more.pub")))
	full := errors.New("no space left on device")
	in := &intake{own: w.tech.own, target: target{kept: before}, told: w.fake.told, until: time.Now().Add(time.Hour)}
	in.Size = uint64(len(w.fake.told))
	in.Root = rootOf(w.fake.told)
	for failing := range 60 {
		err := w.tech.own.with(w.tech.own.home.path(copyFile), writing, func(e *bolt.Engine) error {
			return e.Update(func(tx store.WriteTx) error { return in.update(&fullDisk{tx, failing, full}) })
		})
		if err == nil {
			if failing < 5 {
				t.Fatalf("only %d writes", failing)
			}
			break
		}
		if !errors.Is(err, full) || KindOf(err) != Failed {
			t.Fatalf("write %d: kind %d, %v", failing, KindOf(err), err)
		}
		w.must(nil, w.tech.own.whole(before))
	}
	w.must(nil, w.tech.Sync(ctx))
	w.must(w.tech.VerifyLedger(ctx, false))
}

// fullDisk fails from a number of writes on.
type fullDisk struct {
	store.WriteTx
	left int
	full error
}

func (f *fullDisk) room() error {
	if f.left--; f.left < 0 {
		return f.full
	}
	return nil
}

func (f *fullDisk) PutEntry(i uint64, b []byte) error {
	return errors.Join(f.room(), f.WriteTx.PutEntry(i, b))
}

func (f *fullDisk) PutDocument(kind, key string, value []byte) error {
	if err := f.room(); err != nil {
		return err
	}
	return f.WriteTx.PutDocument(kind, key, value)
}

func TestWatch(t *testing.T) {
	w := newWorld(t)
	w.must(nil, w.tech.Sync(ctx))
	watching, stop := contextWithTimeout()
	defer stop()
	seen := make(chan int, 8)
	ended := make(chan error, 1)
	go func() {
		ended <- w.tech.Watch(watching, func() { p, _ := w.tech.People(); seen <- len(p) })
	}()
	w.newKey("more")
	w.must(w.lead.Enrol(ctx, "more", []string{"technician"}, w.path("more.pub")))
	select {
	case n := <-seen:
		if n != 4 {
			t.Errorf("%d people", n)
		}
	case err := <-ended:
		t.Fatal(err)
	}
	w.fake.tell(upTo(1))
	w.refusedAs(<-ended, Distrust, "older ledger")
}
