package record

import (
	"fmt"
	"strings"
	"testing"
)

// alarmTable is each alarm: what raises it, what does not end it, and each thing that ends it.
var alarmTable = []struct {
	name, raise, on string // on: as it stands in the list of alarms
	stays           string
	ends            []string
}{
	{ReadbackDiffers, "T reads-back 1.1 bad differs", "1.back1",
		// also after one that matched, and whatever is written without being read
		"T cannot-read 1.1\nT collects 1.2\nT runs 1 after\nL limits l L9\nT closes 1 done",
		[]string{"T reads-back 1.1 first", "T collects 1.0\nT reads-back 1.0 found", "T reads 1 bad", "T opens AB-1\nT reads 2 bad",
			"T opens AB-1\nT reads 2 bad\nT collects 2.0\nT reads-back 2.0 bad"}},
	{ReadbackDiffers, "T reads-back 1.1 first\nT reads-back 1.1 bad differs", "1.back2", "D returns 1.1", []string{"T reads-back 1.1 first"}},
	{Recalled, "D returns 1.1", "1.1",
		"T cannot-read 1.1\nT reads-back 1.1 first\nT reads 1 first\nT collects 1.2\nT reads-back 1.2 bad differs\nT closes 1 done",
		[]string{"T collects 1.2\nT reads-back 1.2 second", "T collects 1.2\nT cannot-read 1.2", "T collects 1.0\nT reads-back 1.0 found",
			"L settles 1 recalled 1.1", "T opens AB-1\nT reads 2 x\nT collects 2.0\nT reads-back 2.0 x"}},
	{NotReadBack, "", "1.1",
		"D returns 1.1\nT runs 1 after\nT reads 1 first\nT closes 1 done",
		[]string{"T reads-back 1.1 first", "T reads-back 1.1 bad differs", "T cannot-read 1.1"}},
	{ChangedSince, "T reads 1 other differs", "1.read2",
		"T reads 1 other\nT collects 1.0\nT reads-back 1.0 found\nT closes 1 done",
		[]string{"L settles 1 changed-since 1.read2", "T voids 1 2"}},
	{RunDanger, "T runs 1 after danger", "1.run1",
		"T runs 1 after\nT reads-back 1.1 first\nT collects 1.0\nT reads-back 1.0 found\nT closes 1 done",
		[]string{"L settles 1 run-danger 1.run1"}},
	{CorridorOnly, "L opens-corridor 1 C\nC submits 1 third\nT collects 1.3\nT closes-corridor 1 1 keep=3", "1.3",
		"T reads-back 1.3 third\nT runs 1 after of=1.3\nT reads 1 other differs\nL signs 1.2 warn=b\nT collects 1.2\nT reads-back 1.2 second\nT collects 1.3\nT cannot-read 1.3\nT closes 1 done",
		[]string{"L signs 1.3", "D returns 1.3", "T collects 1.0\nT reads-back 1.0 found", "T reads 1 found differs", "T opens AB-1\nT reads 2 found differs",
			"T opens AB-1\nT reads 2 found differs\nT collects 2.0\nT reads-back 2.0 found"}},
	{CorridorOnly, "L opens-corridor 1 C\nC submits 1 third\nT collects 1.3\nT closes 1 done", "1.3", "T reads-back 1.3 third",
		[]string{"T reopens 1\nL signs 1.3", "T reopens 1\nT collects 1.2\nT reads-back 1.2 second"}},
	{OlderLimits, "L limits l L2 worse=1.1", "1.1",
		// the limits of before do not take it back: whoever signed has to look again
		"L limits l L1\nT collects 1.1\nT reads-back 1.1 first\nT closes 1 done",
		[]string{"L signs 1.1 warn=a", "L signs 1.1", "D returns 1.1"}},
	{OlderLimits, "C submits 1 third\nL defines d D2 worse=1.3", "1.3", "T runs 1 after\nL signs 1.2 warn=b", []string{"L signs 1.3", "D returns 1.3", "C withdraws 1.3", "C submits 1 fourth"}},
}

func TestAlarms(t *testing.T) {
	const setup = oneJob + "C submits 1 first\nL signs 1.1\nC submits 1 second\nL signs 1.2\nT collects 1.1\n"
	has := func(h *history, name, about string) bool {
		return look(h, func(s *State) bool { return contains(alarmNames(s, 1), name+":"+about) })
	}
	for _, row := range alarmTable {
		name := fmt.Sprintf("%s of %s", row.name, row.on)
		h := newHistory(t, false).script(setup)
		if row.raise != "" {
			if has(h, row.name, row.on) {
				t.Errorf("%s: is there before it was raised", name)
			}
			h.script(row.raise)
		}
		if !has(h, row.name, row.on) {
			t.Errorf("%s: %q does not raise it", name, row.raise)
		}
		for _, line := range strings.Split(row.stays, "\n") {
			h.script(line)
			if !has(h, row.name, row.on) {
				t.Errorf("%s: ended by %q", name, line)
			}
		}
		replays(t, h)
		for _, end := range row.ends {
			h := newHistory(t, false).script(setup + row.raise)
			lines := strings.Split(end, "\n")
			h.script(strings.Join(lines[:len(lines)-1], "\n"))
			early := !strings.HasPrefix(end, "T opens") && len(lines) > 1 || len(lines) == 1
			if early && !has(h, row.name, row.on) {
				t.Errorf("%s: ended before %q", name, lines[len(lines)-1])
			}
			h.script(lines[len(lines)-1])
			if has(h, row.name, row.on) {
				t.Errorf("%s: not ended by %q", name, end)
			}
		}
	}
}

// TestAlarmWords: an alarm says since when, until when, and what is at stake.
func TestAlarmWords(t *testing.T) {
	h := newHistory(t, false).script(oneJob + "C submits 1 first\nL signs 1.1\nT collects 1.1")
	a := look(h, func(s *State) string { return s.Alarms(1)[0].String() })
	for _, want := range []string{`due:"2026-05-02T09:00:10Z"`, `1.1 was collected and not read back`, "entry:10", "job:1", "car:1"} {
		if !strings.Contains(strings.ReplaceAll(a, "  ", " "), want) {
			t.Errorf("%s: lacks %s", a, want)
		}
	}
	h.script("T opens CD-2\nT reads 2 x\nT reads 2 y differs\n= alarms 0 not-read-back:1.1 changed-since:2.read2")
}
