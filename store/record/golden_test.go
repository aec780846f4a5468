package record

import (
	"bufio"
	"bytes"
	"encoding/base64"
	"flag"
	"os"
	"strings"
	"testing"
)

const (
	goldenLedger = "testdata/golden.ledger" // one entry a line in base64, each below the line of notation that made it
	goldenState  = "testdata/golden.json"
)

var writeGolden = flag.Bool("write-golden", false, "write the golden ledger and state where there are none")

// goldenScript made the golden ledger. It is not run again: the bytes are what must go on being
// understood, whatever this program would write today.
const goldenScript = staff + `
	L limits other O1
	L enrols B technician+calibrator
	T opens AB-1 frame=WVW-1
	T reads 1 original warn=boost:target
	T runs 1 before
	C submits 1 first verdict=danger
	L returns 1.1
	C submits 1 second verdict=caution
	C submits 1 third warn=advance:ignition,limiter
	L signs 1.3 reason=agreed
	L limits l L2
	L signs 1.3 warn=advance:ignition,boost:target,limiter
	T collects 1.3
	T reads-back 1.3 found differs
	T reads-back 1.3 found
	T runs 1 after
	B submits 1 fourth
	B withdraws 1.4
	L opens EV-5 fuel=E85 fuels=98-RON
	B reads 2 two verdict=notice
	C submits 2 first
	D signs 2.1
	L defines d D2
	L rekeys-server server2
	L enrols C calibrator+lead pub=C2
	C retires D compromised
	T collects 2.0
	T cannot-read 2.0
	C submits 2 second
	L signs 2.2
	T opens NEW-1 frame=wvw1
	T reads 3 tuned-elsewhere differs
	T returns 1.3
	L retires B
`

func TestGoldenHistory(t *testing.T) {
	if *writeGolden {
		writeGoldenFiles(t)
	}
	file, err := os.ReadFile(goldenLedger)
	if err != nil {
		t.Fatalf("the golden ledger must be there: %v", err)
	}
	want, err := os.ReadFile(goldenState)
	if err != nil {
		t.Fatalf("the golden state must be there: %v", err)
	}
	var entries [][]byte
	lines := bufio.NewScanner(bytes.NewReader(file))
	lines.Buffer(nil, 1<<20)
	for lines.Scan() {
		if line := strings.TrimSpace(lines.Text()); line != "" && line[0] != '#' {
			entry, err := base64.StdEncoding.DecodeString(line)
			if err != nil {
				t.Fatal(err)
			}
			entries = append(entries, entry)
		}
	}
	if err := lines.Err(); err != nil || len(entries) < 30 {
		t.Fatalf("%d entries: %v", len(entries), err)
	}
	s, err := Replay(entries)
	if err != nil {
		t.Fatalf("entries that were admitted once are refused now: %v", err)
	}
	if got := dump(s); got != string(want) {
		t.Errorf("the golden ledger replays to another state; see %s. Got:\n%s", goldenState, got)
	}
	kinds := map[string]bool{}
	for _, e := range entries[1:] {
		signed, err := s.Open(envelopeIn(t, e))
		if err != nil {
			t.Fatal(err)
		}
		kinds[signed.Kind] = true
	}
	if len(kinds) != len(rules) {
		t.Errorf("it has %d kinds of %d", len(kinds), len(rules))
	}
}

// writeGoldenFiles never writes over a ledger that is there.
func writeGoldenFiles(t *testing.T) {
	if _, err := os.Stat(goldenLedger); err == nil {
		t.Fatalf("%s is there, and is for ever", goldenLedger)
	}
	h := newHistory(t, false)
	var b strings.Builder
	b.WriteString("# Entries that must replay to golden.json for ever: base64, one a line, each below what it does in\n" +
		"# the notation of notation_test.go. Keys, times and hashes are derived from labels there. Never edit.\n# genesis\n")
	put := func() {
		b.WriteString(base64.StdEncoding.EncodeToString(h.entries[len(h.entries)-1]) + "\n")
	}
	put()
	for _, line := range strings.Split(goldenScript, "\n") {
		if line = strings.TrimSpace(line); line != "" {
			h.do(line, "", nil)
			b.WriteString("# " + line + "\n")
			put()
		}
	}
	if err := os.MkdirAll("testdata", 0o755); err != nil {
		t.Fatal(err)
	}
	for name, text := range map[string]string{goldenLedger: b.String(), goldenState: dump(h.s)} {
		if err := os.WriteFile(name, []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
	}
}
