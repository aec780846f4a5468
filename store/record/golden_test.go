package record

import (
	"bufio"
	"bytes"
	"encoding/base64"
	"flag"
	"fmt"
	"os"
	"strings"
	"testing"

	"google.golang.org/protobuf/proto"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
)

const (
	goldenLedger = "testdata/golden.ledger" // one told entry a line in base64, each below the line of notation that made it
	goldenState  = "testdata/golden.json"
	firstVersion = "testdata/first-version.ledger" // entries alone, of form 1
)

var writeGolden = flag.Bool("write-golden", false, "write the golden ledger and state where there are none")

// goldenScript made the golden ledger. It is not run again: the bytes are what must go on being
// understood, whatever this program would write today.
const goldenScript = staff + `
	L limits other O1
	L enrols B technician+calibrator
	T opens AB-1 frame=WVW1
	T reads 1 wrong warn=boost:target
	T voids 1 1
	T reads 1 found frame=WVW1 warn=boost:target differs
	T runs 1 before
	C submits 1 first verdict=danger
	L returns 1.1
	C submits 1 second verdict=caution
	B submits 1 beside from=2
	C submits 1 third warn=advance:ignition,limiter
	C notes 1.4 hill file=photo
	L signs 1.4 reason=agreed
	L limits l L2 worse=1.4
	L signs 1.4 warn=advance:ignition,boost:target,limiter
	T collects 1.4
	T reads-back 1.4 back differs
	T reads-back 1.4 back
	T runs 1 after danger
	L settles 1 run-danger 1.run2
	B withdraws 1.3
	T closes 1 done
	L opens EV-5 fuel=E85 fuels=98-RON
	B reads 2 two verdict=notice
	C submits 2 first
	D signs 2.1
	L defines d D2 worse=2.1
	L enrols C calibrator+lead pub=C2
	C retires D compromised
	T collects 2.0
	T cannot-read 2.0
	T amends 2 EV-5 fuel=98-RON frame=WVW2
	C submits 2 second
	L signs 2.2
	T opens NEW-1 frame=WVW1
	T reads 3 tuned-elsewhere differs
	T returns 1.4
	T reopens 1
	T runs 1 after
	T closes 1 cancelled
	T closes 2 done
	L erases 2 images
	L retires B
`

func TestGoldenHistory(t *testing.T) {
	if *writeGolden {
		writeGoldenFiles(t)
	}
	want, err := os.ReadFile(goldenState)
	if err != nil {
		t.Fatalf("the golden state must be there: %v", err)
	}
	var list []*recordv1.Told
	for _, line := range lines64(t, goldenLedger) {
		told := &recordv1.Told{}
		if err := proto.Unmarshal(line, told); err != nil {
			t.Fatal(err)
		}
		list = append(list, told)
	}
	h := emptyHistory(t)
	if err := admit(h.engine, nil, list...); err != nil {
		t.Fatalf("entries that were admitted once are refused now: %v", err)
	}
	if got := dump(t, h.engine); got != string(want) {
		t.Errorf("the golden ledger gives other documents; see %s. Got:\n%s", goldenState, got)
	}
	seen := map[string]bool{}
	h.view(func(s *State) {
		for _, told := range list[1:] {
			signed, err := s.Open(envelopeIn(t, told.GetEntry()))
			if err != nil {
				t.Fatal(err)
			}
			seen[signed.Kind] = true
		}
	})
	if len(seen) != len(kinds) {
		t.Errorf("it has %d kinds of %d", len(seen), len(kinds))
	}
}

// TestFirstVersion: a ledger of the first version is refused in one line that says so.
func TestFirstVersion(t *testing.T) {
	for i, entry := range lines64(t, firstVersion) {
		r := refusalOf(t, emptyHistory(t).judge(entry))
		if i == 0 && (r.At != "genesis.form" || !strings.Contains(r.Text, "first version")) || strings.Contains(r.Text, "\n") {
			t.Errorf("entry %d: %v", i, r)
		}
	}
}

// lines64 is the lines of a file, from base64, without comments.
func lines64(t *testing.T, name string) (out [][]byte) {
	t.Helper()
	file, err := os.ReadFile(name)
	if err != nil {
		t.Fatalf("it must be there: %v", err)
	}
	lines := bufio.NewScanner(bytes.NewReader(file))
	lines.Buffer(nil, 1<<20)
	for lines.Scan() {
		if line := strings.TrimSpace(lines.Text()); line != "" && line[0] != '#' {
			b, err := base64.StdEncoding.DecodeString(line)
			if err != nil {
				t.Fatal(err)
			}
			out = append(out, b)
		}
	}
	if err := lines.Err(); err != nil || len(out) < 30 {
		t.Fatalf("%s: %d entries: %v", name, len(out), err)
	}
	return out
}

// writeGoldenFiles never writes over a ledger that is there.
func writeGoldenFiles(t *testing.T) {
	if _, err := os.Stat(goldenLedger); err == nil {
		t.Fatalf("%s is there, and is for ever", goldenLedger)
	}
	made := []string{"genesis"}
	for _, line := range strings.Split(goldenScript, "\n") {
		if line = strings.TrimSpace(line); line != "" {
			made = append(made, line)
		}
	}
	h := newHistory(t, false).script(goldenScript)
	var b strings.Builder
	b.WriteString("# Entries, and the openings that are left of them, that must give golden.json for ever: base64, one a\n" +
		"# line, each below what it does in the notation of notation_test.go. Never edit.\n")
	for i, told := range h.handedOn() {
		text, err := proto.MarshalOptions{Deterministic: true}.Marshal(told)
		if err != nil {
			t.Fatal(err)
		}
		fmt.Fprintf(&b, "# %s\n%s\n", made[i], base64.StdEncoding.EncodeToString(text))
	}
	for name, text := range map[string]string{goldenLedger: b.String(), goldenState: dump(t, h.engine)} {
		if err := os.WriteFile(name, []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
	}
}
