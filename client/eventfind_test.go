package client

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"time"

	"witnessmark/store/record"
)

// slowly is what FindEvents answers with, page after page, found by looking at every entry.
func slowly(all []Event, f EventFilter, job uint32) (out []Event) {
	l := looker{EventFilter: f, job: job}
	for _, e := range all {
		if (f.Before == 0 || e.Entry < f.Before) && l.has(e) {
			out = append(out, e)
		}
	}
	return out
}

// TestFindEvents: whatever is looked for, pages together are what looking at every entry finds, whether documents name the entries
// or they are walked to, and also where one page does not look far enough.
func TestFindEvents(t *testing.T) {
	w := newWorld(t).released()
	w.mixed(1200)
	w.must(nil, w.lead.Sync(ctx))
	var all []Event
	w.must(nil, w.lead.Events(0, func(e Event) bool { all = append(all, e); return true }))
	seed := uint64(time.Now().UnixNano())
	t.Logf("seed %d", seed)
	r := rand.New(rand.NewPCG(seed, 0))
	pick := func(words ...string) string { return words[r.IntN(len(words))] }
	met := 0
	for range 60 {
		f := EventFilter{Kind: pick("", pick(record.Kinds()...)), Who: pick("", "", "LEAD", "ec", "nobody"), Before: uint64(pick("\x00", "\x00", "\x7f")[0]),
			About: pick("", "", "7", "7.1", "1.READ1", "90", "9000", "hc 1", "c9", "hc", "cal", "bench-98", "!")}
		job := uint32(0)
		if name, err := record.ParseName(strings.ToLower(f.About)); err == nil && name.Job < 130 {
			job = name.Job
		}
		want := slowly(all, f, job)
		var got []Event
		most, pages := 1+r.IntN(120), 0
		for next := f; ; pages++ {
			found, further, err := w.lead.FindEvents(next, most)
			w.must(nil, err)
			if len(found) > most || further >= next.Before && next.Before != 0 {
				t.Fatalf("%+v: %d of at most %d, and on to %d", next, len(found), most, further)
			}
			got = append(got, found...)
			if next.Before = further; further == 0 {
				break
			}
		}
		if !slices.Equal(got, want) {
			t.Fatalf("%+v in %d pages: %d events, looking at all %d", f, pages, len(got), len(want))
		}
		met += min(len(want), 1)
	}
	if met < 10 {
		t.Errorf("only %d of 60 found anything", met)
	}
}

// TestFindWaits: pages of what waits are those of Tray, and words leave what says them.
func TestFindWaits(t *testing.T) {
	w := newWorld(t)
	w.submit("\x0a\x0b\x0c\x20")
	for n := range 12 {
		w.must(w.open(fmt.Sprintf("AB %d", n)))
	}
	w.must(nil, w.tech.Sync(ctx))
	w.must(nil, w.lead.Sync(ctx))
	names := func(f WaitFilter) (out []string, more int) {
		tray, err := w.lead.FindWaits(ctx, f)
		w.must(nil, err)
		for _, wait := range tray.Waits {
			out = append(out, wait.Waits+" "+wait.Name)
		}
		return out, tray.More
	}
	all, _ := names(WaitFilter{Most: 100})
	if len(all) != 13 || all[0] != "sign 1.1" {
		t.Fatalf("there wait %q", all)
	}
	for skip := range 15 {
		got, more := names(WaitFilter{Skip: skip, Most: 4})
		from, to := min(skip, 13), min(skip+4, 13)
		if !slices.Equal(got, all[from:to]) || more != 13-to {
			t.Errorf("from %d: %q and %d more", skip, got, more)
		}
	}
	for text, want := range map[string]string{
		"hc": "sign 1.1", "HC 18": "sign 1.1", "advance": "sign 1.1", "ignition base": "sign 1.1", "cal": "sign 1.1", "warn": "sign 1.1", "sign hc": "sign 1.1",
		"sign ab": "", "ab 3": "read 5", "b11": "read 13", "read 11": "read 13", "danger": "", "!": "",
	} {
		if got, more := names(WaitFilter{Text: text}); strings.Join(got, ", ") != want || more != 0 {
			t.Errorf("%q: %q and %d more, want %q", text, got, more, want)
		}
	}
}
