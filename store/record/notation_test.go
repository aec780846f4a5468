package record

// Histories of the ledger in a small notation, one action a line:
//
//	WHO VERB THING… [name=value…] [! REASON]
//
// With "! REASON" the action must be refused with that reason and change nothing; without, it
// becomes the next entry. A line that begins with "=" says how things must be by then, one that
// begins with "#" says why. Images, files and keys go by labels; everything is derived from them.
//
//	L enrols C calibrator [pub=LABEL]         L retires C [compromised]
//	L defines d LABEL [worse=1.1,2.1]         L limits l LABEL [worse=1.1,2.1]
//	T opens AB-1 [frame=F] [fuel=F] [fuels=A|B] [car=N]
//	L opens-corridor 1 C,D [from=N] [tables=a:UP:DOWN,b:UP:DOWN] [most=notice] [maps=N] [author] [reason=TEXT]
//	T closes-corridor 1 N [keep=N] [because=TEXT]
//	T amends 1 AB-1 [the same]                T closes 1 done           T reopens 1
//	T reads 1 IMAGE [differs] [frame=F]       T voids 1 2               T runs 1 before [danger] [of=NAME]
//	C submits 1 IMAGE [warn=A,B] [from=N] [out=WHAT:TABLE,…] [corridor=N] (the one that covers, where not given; 0 says nothing)
//	    T returns 1.1             C withdraws 1.1
//	L signs 1.1 [because=A,B] [author]        T collects 1.1
//	T reads-back 1.1 IMAGE [differs]          T cannot-read 1.1
//	C notes 1.1 TEXT [file=LABEL,LABEL]       L settles 1 recalled 1.1  L erases 1 [images]
//	= 1.1 released      = release 1 2     = car 1 1.2 read-back     = alarms 1 recalled:1.1 run-danger:1.run1
//	= covers 1 1 (corridor, or what ended it)     = waits 1 sign:1.1 collect:1.2     = in 1 1.2
//
// Any action takes key=LABEL (sign with another key), seen=N, root=LABEL (a fork), on=N (act on
// entry N), id=TEXT, time=TEXT, genesis=LABEL, verdict=V, def=LABEL, lim=LABEL.

import (
	"cmp"
	"crypto/ed25519"
	"crypto/sha256"
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/store"
	"witnessmark/store/memory"
	"witnessmark/store/signoff"
)

// tb is what histories need of a test, a benchmark or a fuzz test.
type tb interface {
	Helper()
	Fatalf(format string, args ...any)
}

type history struct {
	t       tb
	engine  store.Engine
	told    []*recordv1.Told  // entries with all openings that came with them
	labels  map[string]string // person to the label of their key
	refused map[string]bool   // reasons seen
	blobs   map[string][]byte // by hash: what labels stand for
}

func (h *history) sha(label string) string {
	h.blobs[sha(label)] = blob(label)
	return sha(label)
}

func sha(label string) string        { return hexSHA256(blob(label)) }
func blob(label string) []byte       { return []byte("test " + label) }
func pub(l string) ed25519.PublicKey { return keyOf(l).Public().(ed25519.PublicKey) }

func keyOf(label string) ed25519.PrivateKey {
	seed := sha256.Sum256([]byte("key " + label))
	return ed25519.NewKeyFromSeed(seed[:])
}

// at is a time of its own for each entry, the same in every run.
func at(n int) string {
	return time.Date(2026, 5, 1, 9, 0, n, 0, time.UTC).Format(time.RFC3339)
}

func genesis(onePerson bool) *recordv1.Genesis {
	return &recordv1.Genesis{
		ServerKey: signoff.FormatPublicKey(pub("server")), LeadName: "L", LeadKey: signoff.FormatPublicKey(pub("L")),
		OnePerson: onePerson, CreatedAt: at(0), Salt: sha("salt")[:32],
	}
}

// newHistory begins a ledger whose first lead is L.
func newHistory(t tb, onePerson bool) *history {
	h := &history{t: t, engine: memory.New(), labels: map[string]string{"L": "L"}, refused: map[string]bool{}, blobs: map[string][]byte{}}
	entry, _ := NewGenesis(genesis(onePerson))
	if err := h.admit(&recordv1.Told{Entry: entry}); err != nil {
		t.Fatalf("genesis: %v", err)
	}
	return h
}

// view looks at what the history says now.
func (h *history) view(fn func(s *State)) {
	h.t.Helper()
	if err := View(h.engine, func(s *State) error { fn(s); return nil }); err != nil {
		h.t.Fatalf("look: %v", err)
	}
}

// look is one answer of the state.
func look[A any](h *history, fn func(s *State) A) (out A) {
	h.view(func(s *State) { out = fn(s) })
	return out
}

// admit adds entries in one transaction, with the blobs that they bring.
func admit(engine store.Engine, blobs map[string][]byte, list ...*recordv1.Told) error {
	return engine.Update(func(w store.WriteTx) error {
		s := Write(w)
		for _, told := range list {
			o, err := s.Admit(told.GetEntry(), told.GetOpenings())
			if err != nil {
				return err
			}
			if o.Signed == nil {
				continue
			}
			for _, b := range Brings(o.Signed.Action) {
				if data := blobs[b.SHA256]; data != nil {
					if err := w.PutBlob(b.SHA256, store.Pack(data, nil, "")); err != nil {
						return err
					}
				}
			}
		}
		return s.Finish()
	})
}

func (h *history) admit(told *recordv1.Told) error {
	err := admit(h.engine, h.blobs, told)
	if err == nil {
		h.told = append(h.told, told)
	}
	return err
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
	err := h.try(line, tweak)
	if reason == "" {
		if err != nil {
			h.t.Fatalf("%s: %v", line, err)
		}
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

// try admits a line if the rules let it pass.
func (h *history) try(line string, tweak func(*recordv1.Action)) error {
	h.t.Helper()
	err := h.admit(h.tell(line, tweak))
	if w := parseLine(line); err == nil && w.verb == "enrols" {
		h.labels[w.arg(0)] = w.or("pub", w.arg(0))
	}
	return err
}

// tell signs a line as it would be admitted next.
func (h *history) tell(line string, tweak func(*recordv1.Action)) (told *recordv1.Told) {
	h.t.Helper()
	w := parseLine(line)
	n := len(h.told)
	h.view(func(s *State) {
		c := &composer{State: s, h: h, words: w}
		a := &recordv1.Action{
			Genesis: s.GenesisSHA256(), RequestId: w.or("id", fmt.Sprintf("r%d-%s", n, sha(line)[:8])), Time: w.or("time", at(n)),
		}
		if l, ok := w.named["genesis"]; ok {
			a.Genesis = sha(l)
		}
		seen := w.number("seen", uint32(s.Size()))
		a.Seen = &recordv1.Seen{Size: seen, Root: hexHash(s.Root(uint64(seen)))}
		if l, fork := w.named["root"]; fork {
			a.Seen.Root = sha(l)
		}
		c.body(a)
		a.ActsOn, _ = s.Target(a)
		if _, ok := w.named["on"]; ok {
			a.ActsOn = s.leaf(uint64(w.number("on", 0)))
		}
		if tweak != nil {
			tweak(a)
		}
		envelope, err := signoff.Seal(a, keyOf(w.or("key", h.labels[w.who])))
		if err != nil {
			h.t.Fatalf("%s: %v", line, err)
		}
		told = &recordv1.Told{Entry: MakeEntry(envelope, at(n)), Openings: c.openings}
	})
	return told
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
	return toNumber(w.or(name, strconv.Itoa(int(other))))
}

func (w words) has(word string) bool { return slices.Contains(w.args, word) }

func toNumber(text string) uint32 {
	n, err := strconv.ParseUint(text, 10, 32)
	if err != nil {
		panic(err)
	}
	return uint32(n)
}

// dotted is the job and submission of "7.2"; of "7" the submission is 0.
func dotted(text string) (job, sub uint32) {
	a, b, _ := strings.Cut(text+".0", ".")
	b, _, _ = strings.Cut(b, ".")
	return toNumber(a), toNumber(b)
}

func list(text, sep string) []string {
	if text == "" {
		return nil
	}
	return strings.Split(text, sep)
}

// expect checks a line that begins with "=".
func (h *history) expect(line string) {
	h.t.Helper()
	f := strings.Fields(line)[1:]
	want := strings.Join(f[1:], " ")
	got := look(h, func(s *State) string {
		switch f[0] {
		case "release":
			sub, _ := s.Release(toNumber(f[1]))
			return fmt.Sprintf("%s %d", f[1], sub.GetNumber())
		case "car":
			in := s.InCar(toNumber(f[1]))
			if !in.GetKnown() {
				return f[1] + " unknown"
			}
			return fmt.Sprintf("%s %d.%d %s", f[1], in.GetJob(), in.GetSubmission(), in.GetKnownBy())
		case "covers":
			j, _ := s.Job(toNumber(f[1]))
			covering, last := s.Covering(j.GetNumber()), CorridorOf(j, uint32(len(j.GetCorridors())))
			if covering.GetNumber() == 0 || last.GetEnded() != "" {
				return strings.TrimSpace(f[1] + " " + cmp.Or(last.GetEnded(), last.GetState()))
			}
			return fmt.Sprintf("%s %d", f[1], covering.GetNumber())
		case "waits":
			j, _ := s.Job(toNumber(f[1]))
			words := f[1]
			for _, w := range WaitsOf(j) {
				words += " " + w.What + ":" + w.Of.String()
			}
			return words
		case "in":
			name, known := s.PresumedIn(toNumber(f[1]))
			if !known {
				return f[1] + " unknown"
			}
			return f[1] + " " + name.String()
		case "alarms":
			return strings.TrimSpace(f[1] + " " + strings.Join(alarmNames(s, toNumber(f[1])), " "))
		}
		sub, _ := s.Submission(dotted(f[0]))
		return sub.GetState()
	})
	if got != want {
		h.t.Fatalf("%s: got %q", line, got)
	}
}

func alarmNames(s *State, job uint32) (out []string) {
	for _, a := range s.Alarms(job) {
		out = append(out, a.GetAlarm()+":"+a.GetAbout())
	}
	return out
}
