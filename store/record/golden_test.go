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

const firstVersion = "testdata/first-version.ledger" // entries alone, of form 1

var writeGolden = flag.Bool("write-golden", false, "write a golden ledger and state where there are none")

// golden are ledgers that must give their state for ever: NAME.ledger has one told entry a line in base64,
// each below the line of notation that made it, NAME.json the state. Scripts made them and are not run
// again: the bytes are what must go on being understood, whatever this program would write today.
var golden = map[string]string{
	"golden": staff + `
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
`,
	"corridors": staff + `
	L enrols M lead
	T opens HC-18 frame=WVW1
	T reads 1 found frame=WVW1
	T runs 1 before of=1.read1
	L opens-corridor 1 C,D tables=ignition_base:2:6,boost_target:0.1:0.2 maps=5 reason=rollers
	C submits 1 one
	T collects 1.1
	T runs 1 after of=1.1
	C submits 1 two verdict=caution from=1
	C submits 1 three out=cell:ignition_base,axis:boost_target,table:fuel,bytes:
	M submits 1 mine
	D submits 1 four warn=advance:ignition_base
	C submits 1 five verdict=notice
	T collects 1.6
	T runs 1 after of=1.6 danger
	D returns 1.6
	T collects 1.2
	L settles 1 run-danger 1.run3
	C submits 1 six
	T collects 1.7
	T cannot-read 1.7
	D submits 1 seven
	T collects 1.8
	C submits 1 eight corridor=0
	T closes-corridor 1 1 keep=8 because=dusk
	T reads-back 1.8 seven
	L opens-corridor 1 C from=8 most=notice maps=1
	C submits 1 nine verdict=caution
	L limits l L2 worse=1.8
	C submits 1 ten
	M signs 1.8 warn=advance:ignition_base reason=driven
	T closes 1 done
	T opens HC-19
	T reads 2 other
	M opens-corridor 2 C
	C submits 2 first
	T collects 2.1
	C submits 2 second
	C submits 2 third
	L retires M compromised
	T amends 2 HC-19 fuel=E85
	T closes-corridor 2 1
	L signs 2.3
	T collects 2.0
	T reads-back 2.0 other
	T closes 2 cancelled
	L erases 2
`}

func TestGoldenHistory(t *testing.T) {
	seen := map[string]bool{}
	for name, script := range golden {
		if *writeGolden {
			writeGoldenFiles(t, name, script)
		}
		want, err := os.ReadFile(stateOf(name))
		if err != nil {
			t.Fatalf("the golden state must be there: %v", err)
		}
		var list []*recordv1.Told
		for _, line := range lines64(t, ledgerOf(name)) {
			told := &recordv1.Told{}
			if err := proto.Unmarshal(line, told); err != nil {
				t.Fatal(err)
			}
			list = append(list, told)
		}
		h := emptyHistory(t)
		if err := admit(h.engine, nil, list...); err != nil {
			t.Fatalf("%s: entries that were admitted once are refused now: %v", name, err)
		}
		if got := dump(t, h.engine); got != string(want) {
			t.Errorf("the golden ledger gives other documents; see %s. Got:\n%s", stateOf(name), got)
		}
		h.view(func(s *State) {
			for _, told := range list[1:] {
				signed, err := s.Open(envelopeIn(t, told.GetEntry()))
				if err != nil {
					t.Fatal(err)
				}
				seen[signed.Kind] = true
			}
		})
	}
	if len(seen) != len(kinds) {
		t.Errorf("they have %d kinds of %d", len(seen), len(kinds))
	}
}

func ledgerOf(name string) string { return "testdata/" + name + ".ledger" }
func stateOf(name string) string  { return "testdata/" + name + ".json" }

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
func writeGoldenFiles(t *testing.T, name, script string) {
	if _, err := os.Stat(ledgerOf(name)); err == nil {
		t.Logf("%s is there, and is for ever", ledgerOf(name))
		return
	}
	made := []string{"genesis"}
	for _, line := range strings.Split(script, "\n") {
		if line = strings.TrimSpace(line); line != "" {
			made = append(made, line)
		}
	}
	h := newHistory(t, false).script(script)
	var b strings.Builder
	b.WriteString("# Entries, and the openings that are left of them, that must give " + name + ".json for ever: base64, one a\n" +
		"# line, each below what it does in the notation of notation_test.go. Never edit.\n")
	for i, told := range h.handedOn() {
		text, err := proto.MarshalOptions{Deterministic: true}.Marshal(told)
		if err != nil {
			t.Fatal(err)
		}
		fmt.Fprintf(&b, "# %s\n%s\n", made[i], base64.StdEncoding.EncodeToString(text))
	}
	for file, text := range map[string]string{ledgerOf(name): b.String(), stateOf(name): dump(t, h.engine)} {
		if err := os.WriteFile(file, []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
	}
}
