package client

import (
	"context"
	"crypto/ed25519"
	"crypto/rand"
	"fmt"
	"net"
	"os"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	"witnessmark/client/waytest"
	"witnessmark/store/record"
)

// way opens one to the fake.
func (w *world) way() *waytest.Way {
	w.Helper()
	return w.wayAt("127.0.0.1:0")
}

func (w *world) wayAt(addr string) *waytest.Way {
	w.Helper()
	way, err := waytest.Open(addr, w.fake.addr)
	w.must(nil, err)
	w.Cleanup(way.Cut)
	return way
}

// through opens somebody's folder anew, with other addresses and nothing of what was looked at before.
func (w *world) through(c *Client, addrs ...string) *Client {
	w.Helper()
	home := c.own.home
	config := c.own.config
	config.Server = strings.Join(addrs, ",")
	w.must(nil, home.writeJSON(configFile, config))
	w.must(nil, os.RemoveAll(home.path(blobsDir)))
	w.must(nil, removed(home.path(answerFile)))
	opened, err := Open(home, nil)
	w.must(nil, err)
	w.Cleanup(func() { _ = opened.Close() })
	return opened
}

// details keeps what a client says to whoever asked for everything.
func details(c *Client) *[]string {
	var mu sync.Mutex
	var lines []string
	c.Detail = func(line string) {
		mu.Lock()
		lines = append(lines, line)
		mu.Unlock()
	}
	return &lines
}

// everyCall is one command for each kind of call. Each may be given again and again, and says what it adds to the ledger.
var everyCall = []struct {
	name string
	adds int
	do   func(w *world, c *Client) error
}{
	{"catching up from nothing", 0, func(w *world, c *Client) error {
		w.must(nil, removed(c.own.home.path(copyFile)))
		w.must(nil, removed(c.own.home.path(headFile)))
		return c.Sync(ctx)
	}},
	{"looking at bytes", 0, func(w *world, c *Client) error {
		if err := c.Sync(ctx); err != nil {
			return err
		}
		_, err := c.Review(ctx, 1, 1)
		return err
	}},
	{"an action that brings bytes", 1, func(w *world, c *Client) error {
		b := testImage("\x0a\x0b\x0c\x0d")
		w.must(rand.Read(b[0x80:0xA0])) // not there yet
		_, _, err := c.AddRead(ctx, NewRead{Job: 1, Path: w.write("another.bin", b)})
		return err
	}},
	{"a backup", 0, func(w *world, c *Client) error {
		_, err := c.Backup(ctx, Out{Path: w.path("backup"), Replace: true})
		if b, _ := os.ReadFile(w.path("backup")); err == nil && string(b) != "one two three" {
			w.Errorf("a backup of %q", b)
		}
		return err
	}},
	{"watching", 1, func(w *world, c *Client) error {
		if err := c.Sync(ctx); err != nil {
			return err
		}
		watching, stop := contextWithTimeout()
		defer stop()
		grown := make(chan struct{}, 1)
		ended := make(chan error, 1)
		go func() {
			ended <- c.Watch(watching, func() { grown <- struct{}{} })
		}()
		_, err := w.lead.AddNote(ctx, NewNote{About: record.Name{Job: 1}, Text: "look"})
		w.must(nil, err)
		select {
		case <-grown:
			stop()
			<-ended
			return nil
		case err := <-ended:
			return fmt.Errorf("watching ended: %w", err)
		}
	}},
	{"logging in", 0, func(w *world, c *Client) error {
		l, err := Login(ctx, &Home{Dir: w.TempDir()}, c.Server(), w.path("lead"), nil, func(string) error { return nil }, "")
		if err != nil {
			return err
		}
		return l.Close()
	}},
}

// Whatever a command is at when its server is killed, it goes on with another: nothing is said, nothing is done twice,
// and nothing is left.
func TestKilledAnywhere(t *testing.T) { endedAnywhere(t, false, 10) }

// The same where a server falls silent.
func TestSilentAnywhere(t *testing.T) { endedAnywhere(t, true, 2) }

func endedAnywhere(t *testing.T, silent bool, times int) {
	for _, call := range everyCall {
		if silent && (call.name == "watching" || call.name == "logging in") {
			continue // a watcher waits until the connection is found dead, which is gRPC's and takes 45 s
		}
		t.Run(call.name, func(t *testing.T) {
			t.Parallel()
			w, r := newWorld(t).released(), seeded(t)
			whole := w.way()
			c := w.through(w.lead, whole.Addr)
			w.must(nil, call.do(w, c))
			w.must(nil, c.Close())
			length := whole.Passed()
			for i := range times {
				at := r.IntN(length)
				if i == 0 {
					at = 0
				}
				first, second := w.way(), w.way()
				first.Until, first.Silent = at, silent
				c := w.through(w.lead, first.Addr, second.Addr)
				if silent {
					c.link.silence, c.link.brief = 3*time.Second, headStart
				}
				said, told := listens(c), details(c)
				before := len(w.fake.shown())
				if err := call.do(w, c); err != nil {
					t.Fatalf("ended after %d of %d bytes: %v; told %q", at, length, err, *told)
				}
				if added := len(w.fake.shown()) - before; added != call.adds || len(*said) != 0 {
					t.Errorf("ended after %d of %d bytes: %d entries, said %q", at, length, added, *said)
				}
				if slices.ContainsFunc(*told, func(line string) bool { return strings.Contains(line, "desc = ") }) {
					t.Errorf("ended after %d of %d bytes: told %q", at, length, *told)
				}
				if dirs, _ := os.ReadDir(c.own.home.path(pendingDir)); len(dirs) != 0 {
					t.Errorf("ended after %d of %d bytes: %d actions are pending", at, length, len(dirs))
				}
				w.must(nil, c.Close())
				first.Cut()
				second.Cut()
			}
			w.must(w.through(w.tech, w.fake.addr).VerifyLedger(ctx, true))
		})
	}
}

// An action whose server is killed, at each point of it and whether it gets on with it or not, is in the ledger once,
// and nobody is told anything.
func TestKilledWhileAdmitting(t *testing.T) {
	for _, point := range points {
		for _, after := range []error{nil, status.Error(codes.Unavailable, "pulled the plug")} {
			w := newWorld(t)
			first, second := w.way(), w.way()
			tech := w.through(w.tech, first.Addr, second.Addr)
			said, from, killed := listens(tech), len(w.fake.told), false
			w.fake.tell(lie{at: func(at string) error {
				if at != point || killed {
					return nil
				}
				killed = true
				first.Cut()
				return after
			}})
			_, _, err := tech.AddRead(ctx, NewRead{Job: 1, Path: w.write("read.bin", testImage("\x0a\x0b\x0c\x0e"))})
			w.must(nil, err)
			if got := w.kinds(from); strings.Join(got, " ") != "read" || len(*said) != 0 || len(w.pendingLeft(tech)) != 0 || !killed {
				t.Errorf("%s, then %v: entries %v, said %q, pending %v", point, after, got, *said, w.pendingLeft(tech))
			}
		}
	}
}

// Servers that are started anew, one after the other, hold nobody up who is in the middle of a call.
func TestStartedAnewInTurn(t *testing.T) {
	w := newWorld(t)
	first, second := w.way(), w.way()
	tech := w.through(w.tech, first.Addr, second.Addr)
	said, from, times := listens(tech), len(w.fake.told), 0
	w.fake.tell(lie{at: func(point string) error {
		if point != pointAction {
			return nil
		}
		switch times++; times {
		case 1:
			first.Cut()
			back, err := waytest.Open(first.Addr, w.fake.addr)
			if err != nil {
				return err
			}
			t.Cleanup(back.Cut)
		case 2:
			second.Cut()
		default:
			return nil
		}
		return status.Error(codes.Unavailable, "pulled the plug")
	}})
	w.must(tech.CloseJob(ctx, 1, "done", ""))
	if got := w.kinds(from); strings.Join(got, " ") != "close" || len(*said) != 0 || times != 3 {
		t.Errorf("entries %v, said %q, asked %d times", got, *said, times)
	}
}

// Where another server is busy after an answer was lost, the action is not made anew: the first may yet enter it.
func TestBusyAfterALostAnswer(t *testing.T) {
	w := newWorld(t)
	first, second := w.way(), w.way()
	tech := w.through(w.tech, first.Addr, second.Addr)
	from, times := len(w.fake.told), 0
	w.fake.tell(lie{at: func(point string) error {
		if point != pointBlobs {
			return nil
		}
		if times++; times == 1 {
			return status.Error(codes.Unavailable, "pulled the plug")
		}
		return status.Error(codes.Aborted, "busy, try again")
	}})
	_, err := tech.CloseJob(ctx, 1, "done", "")
	w.refusedAs(err, Away, "whether it was entered is not known yet")
	if times != 2 || len(w.pendingLeft(tech)) != 1 {
		t.Fatalf("sent %d times, pending %v", times, w.pendingLeft(tech))
	}
	w.fake.tell(lie{})
	w.must(nil, tech.Resume(ctx))
	if got := w.kinds(from); strings.Join(got, " ") != "close" || len(w.pendingLeft(tech)) != 0 {
		t.Errorf("entries %v, pending %v", got, w.pendingLeft(tech))
	}
}

// A server that has another key is distrusted, whoever else would answer: at login, at first, and after another was killed.
func TestOneOfSeveralHasAnotherKey(t *testing.T) {
	w := newWorld(t)
	_, key, err := ed25519.GenerateKey(nil)
	w.must(nil, err)
	other, good := w.fake.listen(t, key), w.fake.addr
	for _, list := range []string{other + "," + good, good + "," + other} {
		home := &Home{Dir: t.TempDir()}
		_, err := Login(ctx, home, list, w.path("tech"), nil, func(string) error { return nil }, "")
		if w.refusedAs(err, Distrust, "server's key"); FileExists(home.path(configFile)) {
			t.Error("the login was kept")
		}
	}
	c := w.through(w.tech, other, good)
	c.link.headStart = time.Minute // on a busy machine the good one could be first
	w.refusedAs(c.Sync(ctx), Distrust, other+": the server's key is ")
	w.refusedAs(c.Look(ctx), Distrust, other+": the server's key is ")
	first := w.way()
	c = w.through(w.tech, first.Addr, other, good)
	c.link.headStart = time.Minute
	w.must(nil, c.Sync(ctx))
	first.Cut()
	w.refusedAs(c.Sync(ctx), Distrust, other+": the server's key is ")
}

// An address that says nothing when it is connected to holds up one command, and the next ones not at all.
func TestTheOneThatAnsweredIsAskedFirst(t *testing.T) {
	w := newWorld(t)
	hole, err := net.Listen("tcp", "127.0.0.1:0") // the kernel connects, and nobody is there
	w.must(nil, err)
	good, gone := w.way(), "127.0.0.1:1"
	c := w.through(w.tech, hole.Addr().String(), gone, good.Addr)
	told := details(c)
	w.must(nil, c.Sync(ctx))
	for _, want := range []string{gone + " does not answer: ", good.Addr + " is tried beside it", good.Addr + " answers"} {
		if !slices.ContainsFunc(*told, func(line string) bool { return strings.Contains(line, want) }) {
			t.Errorf("told %q, and not %q", *told, want)
		}
	}
	w.must(nil, c.Close())
	again, err := Open(c.own.home, nil)
	w.must(nil, err)
	defer again.Close()
	again.link.headStart = time.Minute
	told = details(again)
	w.must(nil, again.Sync(ctx))
	if want := []string{good.Addr + " answers"}; !slices.Equal(*told, want) {
		t.Errorf("the second time: %q", *told)
	}
	good.Cut()
	hole.Close()
	w.refusedAs(again.Sync(ctx), Away, "the server cannot be reached at "+good.Addr+" (")
}

// Where nobody answers, one line names all of them.
func TestAllAway(t *testing.T) {
	w := newWorld(t)
	first, second := w.way(), w.way()
	c := w.through(w.tech, first.Addr, second.Addr)
	w.must(nil, c.Sync(ctx))
	first.Cut()
	second.Cut()
	for range 2 {
		err := c.Sync(ctx)
		w.refusedAs(err, Away, "the server cannot be reached at ")
		for _, addr := range []string{first.Addr, second.Addr} {
			if !strings.Contains(err.Error(), addr+" (") {
				t.Errorf("%v does not name %s", err, addr)
			}
		}
		if strings.Contains(err.Error(), "desc = ") {
			t.Errorf("%v", err)
		}
	}
	// One that comes back is found by the next call.
	w.wayAt(second.Addr)
	w.must(nil, c.Sync(ctx))
}

// What did not answer at login is kept, and said.
func TestLoginWithOneAway(t *testing.T) {
	w := newWorld(t)
	for _, list := range []string{"127.0.0.1:1," + w.fake.addr, w.fake.addr + ", 127.0.0.1:1"} {
		home := &Home{Dir: t.TempDir()}
		c, err := Login(ctx, home, list, w.path("tech"), nil, func(string) error { return nil }, "")
		w.must(nil, err)
		if len(c.Silent) != 1 || !strings.Contains(c.Silent[0], "127.0.0.1:1 (") || c.Server() != strings.ReplaceAll(list, " ", "") {
			t.Errorf("silent %q, kept %q", c.Silent, c.Server())
		}
		w.must(nil, c.Close())
	}
}

func TestAddresses(t *testing.T) {
	for list, want := range map[string]int{"a:1": 1, "a:1,b:2": 2, "[::1]:7017,10.0.0.1:7017,shop.local:7017": 3} {
		if got, err := addressesOf(list); err != nil || len(got) != want {
			t.Errorf("%s: %q, %v", list, got, err)
		}
	}
	for _, list := range []string{"", "a", "a:1,", ",a:1", "a:1,,b:1", "a:1,b", "a:1,a:1", "a:", ":1", "a:1;b:2:3"} {
		if got, err := addressesOf(list); KindOf(err) != Usage {
			t.Errorf("%q: %q, %v", list, got, err)
		}
	}
}

// A context that ends is no server's silence.
func TestInterruptedSearch(t *testing.T) {
	w := newWorld(t)
	hole, err := net.Listen("tcp", "127.0.0.1:0")
	w.must(nil, err)
	defer hole.Close()
	c := w.through(w.tech, hole.Addr().String())
	ending, stop := context.WithCancel(ctx)
	time.AfterFunc(20*time.Millisecond, stop)
	if err := c.Sync(ending); KindOf(err) == Away || err == nil {
		t.Errorf("%v", err)
	}
}

// What a command pays for an address that does not answer: the first time, and from then on.
func BenchmarkDeadAddress(b *testing.B) {
	w := newWorldFor(b)
	hole, err := net.Listen("tcp", "127.0.0.1:0")
	w.must(nil, err)
	defer hole.Close()
	config := w.tech.own.config
	for _, of := range []struct {
		name, list string
		remembered bool
	}{
		{"none", w.fake.addr, false},
		{"refuses, at first", "127.0.0.1:1," + w.fake.addr, false},
		{"refuses, then", "127.0.0.1:1," + w.fake.addr, true},
		{"says nothing, at first", hole.Addr().String() + "," + w.fake.addr, false},
		{"says nothing, then", hole.Addr().String() + "," + w.fake.addr, true},
	} {
		b.Run(of.name, func(b *testing.B) {
			config.Server = of.list
			w.must(nil, w.tech.own.home.writeJSON(configFile, config))
			for b.Loop() {
				if !of.remembered {
					w.must(nil, removed(w.tech.own.home.path(answerFile)))
				}
				c, err := Open(w.tech.own.home, nil)
				w.must(nil, err)
				w.must(nil, c.Sync(ctx))
				w.must(nil, c.Close())
			}
		})
	}
}
