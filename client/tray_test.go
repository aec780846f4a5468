package client

import (
	"encoding/json"
	"fmt"
	"slices"
	"strings"
	"testing"
)

// waits is what is in somebody's tray, in order.
func (w *world) waits(c *Client) (out []string) {
	w.Helper()
	w.must(nil, c.Sync(ctx))
	tray, err := c.Tray(ctx, 0)
	w.must(nil, err)
	for _, one := range tray.Waits {
		out = append(out, one.Waits+" "+one.Name)
	}
	return out
}

func (w *world) tray(who string, want ...string) {
	w.Helper()
	c := map[string]*Client{"lead": w.lead, "tech": w.tech, "cal": w.cal}[who]
	if got := w.waits(c); !slices.Equal(got, want) {
		w.Errorf("%s: %q, want %q", who, got, want)
	}
}

// signClear signs what asks for no reason.
func (w *world) signClear(n uint32) {
	w.Helper()
	r, err := w.lead.Review(ctx, 1, n)
	w.must(nil, err)
	w.must(w.lead.SignOff(ctx, r, nil, nil))
}

// What waits for whom, from the opening of a job to its end.
func TestTray(t *testing.T) {
	w := newWorld(t)
	w.tray("tech")
	w.tray("cal", "submit 1")
	w.tray("lead")
	w.submit("\x0a\x0b\x0c\x20") // a warning
	w.tray("cal")
	w.tray("tech")
	w.tray("lead", "sign 1.1")
	tray, err := w.lead.Tray(ctx, 0)
	w.must(nil, err)
	if one := tray.Waits[0]; one.Finding != "warning advance-warn:ignition.base: 32 deg, allowed 30 deg" || one.Verdict != "warning" || one.Plate != "HC 18" || one.Author != "cal" || one.Since == "" {
		t.Errorf("what is to be signed: %+v", one)
	}
	w.must(w.lead.ReturnSubmission(ctx, 1, 1, "less advance"))
	w.tray("lead")
	w.tray("cal", "revise 1.1")
	w.submit("\x0a\x0b\x0c\x7f") // danger
	w.tray("cal")
	w.tray("lead", "return 1.2")
	w.submit("\x0a\x0b\x0c\x0e")
	w.tray("lead", "sign 1.3")
	w.signClear(3)
	w.tray("cal")
	w.tray("tech", "collect 1.3")
	w.must(nil, w.collect(w.tech))
	w.tray("tech", "read-back 1.3")
	w.must(w.tech.Readback(ctx, 1, w.write("back.bin", testImage("\x0a\x0b\x0c\x0e")), ""))
	w.tray("tech")
	w.must(w.open("HC 19"))
	w.tray("tech", "read 2")
	w.must(w.tech.CloseJob(ctx, 2, "cancelled", ""))
	w.tray("tech")
	if job, err := w.tech.Job(1); err != nil || Next(job) != "close" {
		t.Errorf("after all: %q, %v", Next(job), err)
	}
}

// Limits that judge a release worse have it signed again, and raise an alarm of everybody's.
func TestTrayAfterNewerLimits(t *testing.T) {
	w := newWorld(t)
	w.submit("\x0a\x0b\x0c\x1c")
	w.tray("lead", "sign 1.1")
	w.signClear(1)
	w.tray("tech", "collect 1.1")
	w.document(Limits, strings.Replace(testLimits, "max: 30", "max: 25", 1))
	w.tray("tech")
	w.tray("lead", "sign-again 1.1")
	tray, err := w.tech.Tray(ctx, 0)
	w.must(nil, err)
	if len(tray.Alarms) != 1 {
		t.Fatalf("alarms: %+v", tray.Alarms)
	}
	text, err := json.Marshal(tray.Alarms[0])
	w.must(nil, err)
	var got map[string]any
	w.must(nil, json.Unmarshal(text, &got))
	since := got["since"].(string)
	delete(got, "since")
	if want := `map[about:1.1 alarm:older-limits car:1 job:1 plate:HC 18 says:1.1 is warning by a newer revision submission:1.1]`; fmt.Sprint(got) != want || !strings.HasSuffix(since, "Z") {
		t.Errorf("as JSON: %s", text)
	}
	w.sign(1)
	w.tray("tech", "collect 1.1")
	if tray, err := w.tech.Tray(ctx, 0); err != nil || len(tray.Alarms) != 0 {
		t.Errorf("after a new sign-off: %+v, %v", tray, err)
	}
}

// The worst comes first, then what has waited longest; a page says how much is left out, and without
// the server what is to be judged is told by its warnings.
func TestTrayInOrder(t *testing.T) {
	w := newWorld(t)
	for n := uint32(2); n <= 5; n++ {
		w.must(w.open(fmt.Sprintf("HC 2%d", n)))
		flat := testImage("\x0a\x0b\x0c\x0d")
		copy(flat[0x10:], fmt.Sprintf("FRAME00%d", n))
		w.read(n, flat)
		flat[0x43] = map[uint32]byte{2: 0x0e, 3: 0x20, 4: 0x0f, 5: 0x21}[n]
		_, _, err := w.cal.Submit(ctx, NewSubmission{Job: n, Path: w.write("sub.bin", flat), Note: "more advance"})
		w.must(nil, err)
	}
	w.tray("lead", "sign 3.1", "sign 5.1", "sign 2.1", "sign 4.1")
	tray, err := w.lead.Tray(ctx, 3)
	w.must(nil, err)
	if len(tray.Waits) != 3 || tray.More != 1 {
		t.Errorf("%d waits, and %d more", len(tray.Waits), tray.More)
	}
	config := w.lead.own.config
	config.Server = "127.0.0.1:1"
	w.must(nil, w.lead.own.home.writeJSON(configFile, config))
	w.lead.own.home.trim(0)
	away, err := Open(w.lead.own.home, nil)
	w.must(nil, err)
	defer away.Close()
	tray, err = away.Tray(ctx, 1)
	w.must(nil, err)
	if tray.Waits[0].Finding != "warning "+key {
		t.Errorf("without the server: %+v", tray.Waits[0])
	}
}

// By the clock of whoever looks, a collection that nobody read back in a day is an alarm, until it was, or
// somebody says why it cannot be. The fake admits everything in the past.
func TestNotReadBack(t *testing.T) {
	w := newWorld(t).released()
	w.must(nil, w.collect(w.tech))
	alarms := func() (out []string) {
		tray, err := w.tech.Tray(ctx, 0)
		w.must(nil, err)
		for _, a := range tray.Alarms {
			out = append(out, a.Alarm+" "+a.Submission)
		}
		return out
	}
	if got := alarms(); !slices.Equal(got, []string{"not-read-back 1.1"}) {
		t.Errorf("collected: %q", got)
	}
	w.must(w.tech.NotPossible(ctx, 1, "locked controller"))
	if got := alarms(); got != nil {
		t.Errorf("cannot be read back: %q", got)
	}
}
