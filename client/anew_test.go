package client

import (
	"fmt"
	"os"
	"strings"
	"testing"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
)

// moved puts a person's home on another server, as somebody does who copied its address; the client is new.
func (w *world) moved(c *Client, addr string) *Client {
	w.Helper()
	config := c.own.config
	config.Server = addr
	w.must(nil, c.own.home.writeJSON(configFile, config))
	moved, err := Open(c.own.home, nil)
	w.must(nil, err)
	w.Cleanup(func() { _ = moved.Close() })
	return moved
}

// seenBy is the head that somebody kept, as a new ledger names it.
func seenBy(c *Client) *recordv1.Continues {
	h := c.Head()
	return &recordv1.Continues{Genesis: c.own.config.Genesis, Size: h.Size, Root: h.Root}
}

func (w *world) loginTo(f *fake, home *Home) (*Client, error) {
	c, err := Login(ctx, home, f.addr, w.path("tech"), nil, func(string) error { return nil }, "")
	if err == nil {
		w.Cleanup(func() { _ = c.Close() })
	}
	return c, err
}

// A ledger that was begun anew is said to be so, and taken up by logging in alone; what was here stays, in a
// folder of its own.
func TestLedgerBegunAnew(t *testing.T) {
	w := newWorld(t).released()
	w.must(nil, w.tech.Sync(ctx))
	old, kept := w.tech.own.config, w.tech.Head()
	next := startFakeAfter(t, w.lead.Key(), false, seenBy(w.tech))
	tech := w.moved(w.tech, next.addr)
	for range 2 { // nothing is taken over, however often it is asked
		err := tech.Sync(ctx)
		w.refusedAs(err, Distrust, fmt.Sprintf("which says that it goes on from yours at %d entries", kept.Size))
		if !strings.Contains(TryOf(err), "witnessmark login "+next.addr+" --key ") || !strings.Contains(err.Error(), fingerprintOf(next.genesis)) {
			t.Errorf("%v; try: %s", err, TryOf(err))
		}
	}
	w.refusedAs(w.collect(tech), Distrust, "goes on from yours")
	w.nothingWritten()
	// Who is not enrolled there keeps what they had.
	home := tech.own.home
	_, err := w.loginTo(next, home)
	w.refusedAs(err, Refused, "not enrolled")
	if c, err := home.Config(); err != nil || c.Genesis != old.Genesis || tech.Head().Root != kept.Root {
		t.Errorf("after a login that failed: %+v, %v", c, err)
	}
	w.must(nil, tech.own.sound())
	next.enrol(w, "tech")
	anew, err := w.loginTo(next, home)
	w.must(nil, err)
	w.must(anew.VerifyLedger(ctx, false))
	if c, err := home.Config(); err != nil || c.Genesis != next.genesis || anew.Before == "" {
		t.Errorf("after logging in anew: %+v, %q, %v", c, anew.Before, err)
	}
	before := &ownCopy{home: &Home{Dir: anew.Before}, config: old}
	if h, err := before.head(); err != nil || h.Root != kept.Root || h.Size != kept.Size {
		t.Errorf("what was set aside: %v, %v", h, err)
	}
	w.must(nil, before.sound())
}

// enrol has the lead of a ledger enrol somebody.
func (f *fake) enrol(w *world, name string) {
	w.Helper()
	lead, err := Login(ctx, &Home{Dir: w.path("home-lead-of-next")}, f.addr, w.path("lead"), nil, func(string) error { return nil }, "")
	w.must(nil, err)
	defer lead.Close()
	w.must(lead.Enrol(ctx, name, []string{"technician"}, w.path(name+".pub")))
}

// A new ledger is not logged in to where it leaves out what was seen of the old one, or is another's.
func TestLedgerBegunElsewhere(t *testing.T) {
	w := newWorld(t)
	w.must(nil, w.tech.Sync(ctx))
	for name, c := range map[string]struct {
		change func(*recordv1.Continues) *recordv1.Continues
		kind   Kind
		words  string
	}{
		"fewer entries": {func(o *recordv1.Continues) *recordv1.Continues { o.Size--; return o }, Distrust, "and you have seen"},
		"another root": {func(o *recordv1.Continues) *recordv1.Continues {
			o.Root = strings.Repeat("0", 64)
			return o
		}, Distrust, "two roots"},
		"another ledger": {func(o *recordv1.Continues) *recordv1.Continues {
			o.Genesis = strings.Repeat("0", 64)
			return o
		}, Usage, "belongs to the ledger " + w.tech.Fingerprint()},
		"no other": {func(*recordv1.Continues) *recordv1.Continues { return nil }, Usage, "belongs to the ledger"},
	} {
		next := startFakeAfter(t, w.lead.Key(), false, c.change(seenBy(w.tech)))
		_, err := w.loginTo(next, w.tech.own.home)
		if err == nil || KindOf(err) != c.kind || !strings.Contains(err.Error(), c.words) || TryOf(err) == "" {
			t.Errorf("%s: %v; try: %s", name, err, TryOf(err))
		}
		if name != "no other" && name != "another ledger" {
			continue
		}
		err = w.moved(w.tech, next.addr).Sync(ctx)
		w.refusedAs(err, Distrust, "the one you pinned is")
	}
	if left, err := os.ReadDir(w.tech.own.home.Dir); err != nil || strings.Contains(fmt.Sprint(left), beforeDir) {
		t.Errorf("%v, %v", left, err)
	}
}

// A server that was restored from an older backup is refused by whoever saw more; they say what to do.
func TestOlderServer(t *testing.T) {
	w := newWorld(t)
	w.must(nil, w.tech.Sync(ctx))
	w.fake.tell(upTo(2))
	err := w.tech.Sync(ctx)
	w.refusedAs(err, Distrust, "the server shows an older ledger: ")
	if !strings.Contains(TryOf(err), "witnessmark ledger head") {
		t.Errorf("try: %s", TryOf(err))
	}
}
