package client

import (
	"bytes"
	"os"
	"testing"
)

// A power cut can leave part of an entry, or entries that no head speaks of: both are fetched again.
func TestMirrorAfterPowerCut(t *testing.T) {
	for _, c := range []struct {
		name   string
		damage func([]byte) []byte
	}{
		{"torn tail", func(b []byte) []byte { return b[:len(b)-3] }},
		{"torn length", func(b []byte) []byte { return append(b, 0, 0) }},
		{"length of a missing entry", func(b []byte) []byte { return append(b, 0, 0, 1, 0, 'x') }},
		{"absurd length", func(b []byte) []byte { return append(b, 0xff, 0xff, 0xff, 0xff, 'x') }},
		{"an entry beyond the head", func(b []byte) []byte { return append(b, 0, 0, 0, 1, 'x') }},
		{"a flipped bit", func(b []byte) []byte { b[40] ^= 1; return b }},
		{"all of it gone", func([]byte) []byte { return nil }},
	} {
		t.Run(c.name, func(t *testing.T) {
			w := newWorld(t)
			w.must(nil, w.tech.Sync(ctx))
			path := w.tech.home.path("entries")
			whole, err := os.ReadFile(path)
			w.must(nil, err)
			w.must(nil, os.WriteFile(path, c.damage(bytes.Clone(whole)), 0o600))
			tech := &Client{home: w.tech.home, config: w.tech.config, signer: w.tech.signer}
			w.must(nil, tech.load())
			w.must(nil, tech.connect(w.fake.state.ServerKey()))
			defer tech.Close()
			w.must(nil, tech.Sync(ctx))
			// What is not an entry goes when the next one comes.
			w.newKey("more")
			w.must(w.lead.Enrol(ctx, "more", []string{"technician"}, w.path("more.pub")))
			w.must(nil, tech.Sync(ctx))
			again, err := os.ReadFile(path)
			w.must(nil, err)
			want, err := os.ReadFile(w.lead.home.path("entries"))
			w.must(nil, err)
			if !bytes.Equal(again, want) {
				t.Error("the mirror was not mended")
			}
			if _, err := tech.Me(); err != nil {
				t.Error(err)
			}
		})
	}
}

// A mirror that was damaged is fetched again, and what comes must still have the head's root.
func TestDamagedMirrorIsNoWayIn(t *testing.T) {
	w := newWorld(t).released()
	w.must(nil, w.tech.Sync(ctx))
	w.must(nil, os.WriteFile(w.tech.home.path("entries"), nil, 0o600))
	w.fake.tell(fork(w))
	tech := &Client{home: w.tech.home, config: w.tech.config, signer: w.tech.signer}
	w.must(nil, tech.load())
	w.must(nil, tech.connect(w.fake.state.ServerKey()))
	defer tech.Close()
	w.refusedAs(tech.Sync(ctx), Distrust, "two roots")
}

func TestHeadOnlyAdvances(t *testing.T) {
	h := &Home{Dir: t.TempDir()}
	for _, c := range []struct {
		head Head
		ok   bool
	}{
		{Head{Size: 5, Root: "a"}, true}, {Head{Size: 4, Root: "b"}, false}, {Head{Size: 5, Root: "b"}, false},
		{Head{Size: 5, Root: "a"}, true}, {Head{Size: 6, Root: "c"}, true}, {Head{Size: 5, Root: "a"}, false},
	} {
		if err := h.advance(c.head); (err == nil) != c.ok {
			t.Errorf("%v: %v", c.head, err)
		}
	}
	if head, err := h.head(); err != nil || head.Size != 6 {
		t.Errorf("%v, %v", head, err)
	}
}

// Two clients of one person share the mirror: what one verified, the other takes over.
func TestSharedHome(t *testing.T) {
	w := newWorld(t)
	a, err := Open(w.tech.home, nil)
	w.must(nil, err)
	defer a.Close()
	b, err := Open(w.tech.home, nil)
	w.must(nil, err)
	defer b.Close()
	w.newKey("more")
	w.must(w.lead.Enrol(ctx, "more", []string{"technician"}, w.path("more.pub")))
	w.must(nil, a.Sync(ctx))
	w.fake.tell(upTo(1)) // b has not seen the last entry itself
	w.refusedAs(b.Sync(ctx), Distrust, "older ledger")
	w.fake.tell(lie{})
	w.must(nil, b.Sync(ctx))
	if len(b.People()) != 4 {
		t.Errorf("%d people", len(b.People()))
	}
}

func FuzzMirror(f *testing.F) {
	f.Add([]byte{0, 0, 0, 1, 'x', 0, 0})
	f.Add([]byte{0xff, 0xff, 0xff, 0xff})
	f.Add([]byte(nil))
	f.Fuzz(func(t *testing.T, b []byte) {
		h := &Home{Dir: t.TempDir()}
		if err := os.WriteFile(h.path("entries"), b, 0o600); err != nil {
			t.Fatal(err)
		}
		entries, end, err := h.readMirror()
		if err != nil || end > int64(len(b)) {
			t.Fatal(end, err)
		}
		if err := h.appendMirror(nil, entries); err != nil {
			t.Fatal(err)
		}
		if again, _ := os.ReadFile(h.path("entries")); !bytes.Equal(again, b[:end]) {
			t.Error("what was read is not what was written")
		}
	})
}

func FuzzUnpack(f *testing.F) {
	files := make([][]byte, len(bundleNames))
	whole, err := pack(files)
	if err != nil {
		f.Fatal(err)
	}
	f.Add(whole)
	f.Add([]byte("PK\x05\x06"))
	f.Fuzz(func(t *testing.T, b []byte) {
		got, err := unpack("bundle", b)
		if err != nil {
			return
		}
		if again, err := pack(got); err != nil || !bytes.Equal(again, b) {
			t.Error("what was unpacked does not pack to the same bytes")
		}
		o := &opened{name: "bundle"}
		_ = o.parse(b)
	})
}
