package record

// Histories of the ledger in a small notation, one action a line:
//
//	WHO VERB THING… [name=value…] [! REASON]
//
// With "! REASON" the action must be refused with that reason and change nothing; without, it
// becomes the next entry. A line that begins with "=" says how things must be by then, one that
// begins with "#" says why. Images, files and keys go by labels; everything is derived from them.
//
//	L enrols C calibrator [pub=LABEL]     L retires C [compromised]     L rekeys-server LABEL
//	L defines d LABEL                     L limits l LABEL
//	T opens AB-1 [frame=F] [fuel=F] [fuels=A|B]
//	T reads 1 IMAGE [differs]             C submits 1 IMAGE [warn=A,B]
//	L signs 1.1 [because=A,B] [author]    T returns 1.1                 C withdraws 1.1
//	T collects 1.1                        T reads-back 1.1 IMAGE [differs]
//	T cannot-read 1.1                     T runs 1 before
//	= 1.1 released      = release 1 2     = car AB-1 1.2 read-back
//
// Any action takes key=LABEL (sign with another key), seen=N, root=LABEL (a fork), on=N (act on
// entry N), id=TEXT, time=TEXT, genesis=LABEL, verdict=V, def=LABEL, lim=LABEL.

import (
	"crypto/ed25519"
	"crypto/sha256"
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/store/signoff"
)

// tb is what histories need of a test; rapid's has it too.
type tb interface {
	Helper()
	Fatalf(format string, args ...any)
}

type history struct {
	t       tb
	s       *State
	entries [][]byte
	labels  map[string]string // person to the label of their key
	refused map[string]bool   // reasons seen
}

func sha(label string) string { return hexSHA256([]byte("test " + label)) }

func keyOf(label string) ed25519.PrivateKey {
	seed := sha256.Sum256([]byte("key " + label))
	return ed25519.NewKeyFromSeed(seed[:])
}

func pub(label string) ed25519.PublicKey { return keyOf(label).Public().(ed25519.PublicKey) }

// at is a time of its own for each entry, the same in every run.
func at(n int) string {
	return time.Date(2026, 5, 1, 9, 0, n, 0, time.UTC).Format(time.RFC3339)
}

// newHistory begins a ledger whose first lead is L.
func newHistory(t tb, onePerson bool) *history {
	h := &history{t: t, s: &State{}, labels: map[string]string{"L": "L"}, refused: map[string]bool{}}
	entry, _ := NewGenesis(pub("server"), "L", pub("L"), onePerson, at(0), sha("salt")[:32])
	if _, err := Admit(h.s, entry); err != nil {
		t.Fatalf("genesis: %v", err)
	}
	h.entries = [][]byte{entry}
	return h
}

// script runs lines.
func (h *history) script(text string) *history {
	h.t.Helper()
	for _, line := range strings.Split(text, "\n") {
		line = strings.TrimSpace(line)
		switch {
		case line == "" || line[0] == '#':
		case line[0] == '=':
			h.expect(line)
		default:
			action, reason, _ := strings.Cut(line, " ! ")
			h.do(action, strings.TrimSpace(reason), nil)
		}
	}
	return h
}

// do judges one line, changed by tweak where there is one, and admits it if it is to be admitted.
func (h *history) do(line, reason string, tweak func(*recordv1.Action)) *Refusal {
	h.t.Helper()
	entry := h.entry(line, tweak)
	err := Judge(h.s, entry)
	if reason == "" {
		if err != nil {
			h.t.Fatalf("%s: %v", line, err)
		}
		Apply(h.s, entry)
		h.entries = append(h.entries, entry)
		h.note(line)
		return nil
	}
	var r *Refusal
	if !errors.As(err, &r) || r.Reason != reason {
		h.t.Fatalf("%s: got %v (%+v), want a refusal for %s", line, err, r, reason)
	}
	if r.Text == "" || strings.Contains(r.Text, "\n") {
		h.t.Fatalf("%s: refused in %q, want one line", line, r.Text)
	}
	h.refused[reason] = true
	return r
}

// note remembers which key a person has by now.
func (h *history) note(line string) {
	w := parseLine(line)
	if w.verb == "enrols" {
		h.labels[w.arg(0)] = w.or("pub", w.arg(0))
	}
}

// entry signs a line as it would be admitted next.
func (h *history) entry(line string, tweak func(*recordv1.Action)) []byte {
	h.t.Helper()
	w := parseLine(line)
	a := &recordv1.Action{
		Genesis:   h.s.GenesisSHA256,
		RequestId: w.or("id", fmt.Sprintf("r%d-%s", len(h.entries), sha(line)[:8])),
		Time:      w.or("time", at(len(h.entries))),
	}
	if l, ok := w.named["genesis"]; ok {
		a.Genesis = sha(l)
	}
	seen := w.number("seen", uint32(h.s.Size))
	a.Seen = &recordv1.Seen{Size: seen, Root: sha(w.or("root", "none"))}
	if _, fork := w.named["root"]; !fork && uint64(seen) < uint64(len(h.s.Roots)) {
		a.Seen.Root = hexHash(h.s.Roots[seen])
	}
	h.body(a, w)
	a.ActsOn, _ = h.s.Target(a)
	if _, ok := w.named["on"]; ok {
		a.ActsOn = h.s.leaf(uint64(w.number("on", 0)))
	}
	if tweak != nil {
		tweak(a)
	}
	label := w.or("key", h.labels[w.who])
	envelope, err := signoff.Seal(a, keyOf(label))
	if err != nil {
		h.t.Fatalf("%s: %v", line, err)
	}
	return MakeEntry(envelope, at(len(h.entries)))
}

// words is a parsed line.
type words struct {
	who, verb string
	args      []string
	named     map[string]string
}

func parseLine(line string) words {
	w := words{named: map[string]string{}}
	for _, f := range strings.Fields(line) {
		if name, value, ok := strings.Cut(f, "="); ok {
			w.named[name] = value
			continue
		}
		w.args = append(w.args, f)
	}
	w.who, w.verb, w.args = w.args[0], w.args[1], w.args[2:]
	return w
}

func (w words) arg(i int) string {
	if i < len(w.args) {
		return w.args[i]
	}
	return ""
}

func (w words) or(name, other string) string {
	if v, ok := w.named[name]; ok {
		return v
	}
	return other
}

func (w words) number(name string, other uint32) uint32 {
	n, err := strconv.ParseUint(w.or(name, strconv.Itoa(int(other))), 10, 32)
	if err != nil {
		panic(err)
	}
	return uint32(n)
}

func (w words) has(word string) bool { return slices.Contains(w.args, word) }

func number(text string) uint32 {
	n, err := strconv.ParseUint(text, 10, 32)
	if err != nil {
		panic(err)
	}
	return uint32(n)
}

// dotted is the job and submission of "7.2".
func dotted(text string) (job, sub uint32) {
	a, b, _ := strings.Cut(text, ".")
	return number(a), number(b)
}

func list(text, sep string) []string {
	if text == "" {
		return nil
	}
	return strings.Split(text, sep)
}

func image(label string) *recordv1.Image {
	return &recordv1.Image{
		Sha256: sha(label), Size: 16, FileFormat: "raw", Ranges: []*calibrationv1.AddressRange{{Start: 0, End: 16}},
	}
}

// judge makes a judgement by the newest revisions, or by the labels that the line gives.
func (h *history) judge(w words, verdict string, warnings []string) *recordv1.Judgement {
	d, _ := h.s.Newest("definition", "d")
	l, _ := h.s.Newest("limits", "l")
	j := &recordv1.Judgement{
		Definition:   &recordv1.Revision{Name: "d", Sha256: d.GetSha256()},
		Limits:       &recordv1.Revision{Name: "l", Sha256: l.GetSha256()},
		ReportSha256: sha("report"), Verdict: verdict, Warnings: warnings,
	}
	if v, ok := w.named["def"]; ok {
		j.Definition.Sha256 = sha(v)
	}
	if v, ok := w.named["lim"]; ok {
		j.Limits.Sha256 = sha(v)
	}
	if v, ok := w.named["warn"]; ok {
		j.Warnings, j.Verdict = list(v, ","), "warning"
	}
	j.Verdict = w.or("verdict", j.Verdict)
	return j
}

// expect checks a line that begins with "=".
func (h *history) expect(line string) {
	h.t.Helper()
	f := strings.Fields(line)[1:]
	switch f[0] {
	case "release":
		job, _ := h.s.Job(number(f[1]))
		sub, err := h.s.Release(number(f[1]))
		if job.GetRelease() != number(f[2]) || sub.GetNumber() != number(f[2]) || (err == nil) != (f[2] != "0") {
			h.t.Fatalf("%s: got %d (%v)", line, job.GetRelease(), err)
		}
	case "car":
		in, ok := h.s.InCar(f[1])
		got := fmt.Sprintf("%d.%d %s", in.GetJob(), in.GetSubmission(), in.GetKnownBy())
		if want := strings.Join(f[2:], " "); got != want || !ok {
			h.t.Fatalf("%s: got %q", line, got)
		}
	default:
		sub, ok := h.s.Submission(dotted(f[0]))
		if got := sub.GetState(); !ok || got != strings.Join(f[1:], " ") {
			h.t.Fatalf("%s: got %q", line, got)
		}
	}
}

var _ tb = (*testing.T)(nil)
