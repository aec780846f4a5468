package record

import (
	"strings"
	"testing"

	"witnessmark/store/signoff"
)

func fingerprintOf(label string) string { return signoff.Fingerprint(pub(label)) }

func TestNormalPlate(t *testing.T) {
	for in, want := range map[string]string{
		"ab-1": "AB1", " A B 1 ": "AB1", "b·mü 7": "BMÜ7", "": "", "-": "", "1.234": "1234",
	} {
		if got := NormalPlate(in); got != want {
			t.Errorf("%q: %q, want %q", in, got, want)
		}
	}
}

func TestFrameDigest(t *testing.T) {
	g := strings.Repeat("0", 64)
	// printf '%s' 000…000WVWZZZ1JZXW000001 | sha256sum (64 zeros)
	const want = "c9ba0d91e3c9ea6fa2711c33293b29d892982966f969ca77c53a92c917b31d41"
	for _, f := range []string{"WVWZZZ1JZXW000001", "wvwzzz1jzxw000001", "WVW ZZZ-1JZ XW 000001"} {
		if got := FrameDigest(g, f); got != want {
			t.Errorf("%q: %s, want %s", f, got, want)
		}
	}
	if FrameDigest(strings.Repeat("1", 64), "WVWZZZ1JZXW000001") == want {
		t.Error("another ledger has the same digest")
	}
}

func TestCarHistory(t *testing.T) {
	h := newHistory(t, false).script(oneJob + `
		T runs 1 before
		C submits 1 first warn=a
		D returns 1.1
		C submits 1 second verdict=caution
		C withdraws 1.2
		C submits 1 third
		D signs 1.3
		T collects 1.3
		T reads-back 1.3 found differs
		T cannot-read 1.3
		T reads-back 1.3 found
		T reads 1 same
		L returns 1.3
		C submits 1 fourth
		D signs 1.4
		L retires D compromised
		T collects 1.0
		T opens ab1
		T reads 2 elsewhere differs`)
	want := []string{
		"T job 1 opened", "T read 1 added, the original clear", "T run 1 added, before", "C 1.1 submitted warning",
		"D 1.1 returned: too much advance", "C 1.2 submitted caution", "C 1.2 withdrawn", "C 1.3 submitted clear",
		"D 1.3 signed off clear", "T 1.3 collected clear", "T 1.3 read back: it differs",
		"T 1.3 written, not read back: the controller locks reading", "T 1.3 read back: it matches",
		"T read 2 added, as job 1 left it", "L 1.3 recalled: too much advance", "C 1.4 submitted clear", "D 1.4 signed off clear",
		"L sign-off of 1.4 voided: its key was compromised", "T the original of job 1 collected", "T job 2 opened",
		"T read 1 added, the original, not as job 1 left it clear",
	}
	history := h.s.CarHistory("AB 1")
	for i, e := range history.GetEvents() {
		got := strings.TrimSpace(e.GetEvent().GetPerson() + " " + e.GetWhat() + " " + e.GetVerdict())
		if i >= len(want) || got != want[i] {
			t.Errorf("event %d: %q, want %q", i, got, want[min(i, len(want)-1)])
		}
	}
	if len(history.GetEvents()) != len(want) {
		t.Errorf("%d events, want %d", len(history.GetEvents()), len(want))
	}
	if in := history.GetInCar(); in.GetJob() != 2 || in.GetImageSha256() != sha("elsewhere") {
		t.Errorf("in car: %v", in)
	}
}
