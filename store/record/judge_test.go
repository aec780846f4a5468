package record

import (
	"bytes"
	"errors"
	"fmt"
	"strings"
	"testing"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/store"
	"witnessmark/store/memory"
	"witnessmark/store/signoff"
)

func envelopeIn(t testing.TB, entry []byte) []byte {
	t.Helper()
	envelope, _, err := EnvelopeOf(entry)
	if err != nil {
		t.Fatal(err)
	}
	return envelope
}

func (h *history) judge(entry []byte) error {
	return look(h, func(s *State) error { _, err := Judge(s, entry); return err })
}

func TestJudgeEntries(t *testing.T) {
	h := newHistory(t, false).script(staff)
	good := h.tell("T opens AB-1", nil).GetEntry()
	envelope := envelopeIn(t, good)
	// Another first character of the signature: still an envelope, but nobody's.
	forged := bytes.Clone(envelope)
	if sig := bytes.Index(forged, []byte(`"sig":"`)) + 7; forged[sig] == 'A' {
		forged[sig] = 'B'
	} else {
		forged[sig] = 'A'
	}
	for _, c := range []struct {
		name, reason string
		entry        []byte
	}{
		{"empty", ReasonBadEntry, nil},
		{"not protobuf", ReasonBadEntry, []byte{0xff}},
		{"a second genesis", ReasonBadEntry, h.told[0].GetEntry()},
		{"an unknown field", ReasonBadEntry, append(bytes.Clone(good), 0x50, 0x01)},
		{"a field twice", ReasonBadEntry, append(bytes.Clone(good), good...)},
		{"fields in another order", ReasonBadEntry, swapped(good)},
		{"a length that is too long", ReasonBadEntry, good[:len(good)-1]},
		{"too much", ReasonBadEntry, MakeEntry(make([]byte, maxEntry), at(1))},
		{"no time", ReasonBadValue, MakeEntry(envelope, "")},
		{"a local time", ReasonBadValue, MakeEntry(envelope, "2026-05-01T09:00:00+02:00")},
		{"no envelope", ReasonBadEnvelope, MakeEntry(nil, at(9))},
		{"no JSON", ReasonBadEnvelope, MakeEntry([]byte("yes"), at(9))},
		{"another signature", ReasonBadSignature, MakeEntry(forged, at(9))},
		{"a stranger", ReasonUnknownKey, h.tell("T opens AB-1 key=stranger", nil).GetEntry()},
	} {
		if r := refusalOf(t, h.judge(c.entry)); r.Reason != c.reason || strings.Contains(r.Text, "\n") {
			t.Errorf("%s: %s %q, want %s in one line", c.name, r.Reason, r.Text, c.reason)
		}
	}
	if err := h.judge(good); err != nil {
		t.Errorf("the entry itself: %v", err)
	}
}

// swapped writes admitted_at before the envelope: the same message, other bytes.
func swapped(entry []byte) []byte {
	time := entry[len(entry)-22:] // tag, length, 20 characters
	return append(bytes.Clone(time), entry[:len(entry)-22]...)
}

func emptyHistory(t tb) *history {
	return &history{t: t, engine: memory.New(), refused: map[string]bool{}}
}

func TestGenesisEntries(t *testing.T) {
	entry, sum := NewGenesis(genesis(false))
	if err := emptyHistory(t).judge(entry); err != nil || sum != hexSHA256(entry) {
		t.Errorf("a right one: %v", err)
	}
	old := &recordv1.Continues{Genesis: sha("g"), Size: 7, Root: sha("r")}
	for at, change := range map[string]func(*recordv1.Genesis){
		"genesis.server_key": func(g *recordv1.Genesis) { g.ServerKey = "" },
		"genesis.lead_key":   func(g *recordv1.Genesis) { g.LeadKey = g.ServerKey },
		"genesis.lead_name":  func(g *recordv1.Genesis) { g.LeadName = "" },
		"entry.admitted_at":  func(g *recordv1.Genesis) { g.CreatedAt = "" },
		"genesis.salt":       func(g *recordv1.Genesis) { g.Salt = "SALT" },
		"genesis.continues":  func(g *recordv1.Genesis) { g.Continues = &recordv1.Continues{Genesis: sha("g"), Root: "r"} },
		"genesis.form":       func(g *recordv1.Genesis) { g.Form = signoff.LeastForm - 1 },
		"":                   func(g *recordv1.Genesis) { g.Continues = old },
	} {
		g := genesis(false)
		g.Form = signoff.LeastForm
		change(g)
		err := emptyHistory(t).judge(encodeGenesis(g, "2026-05-01T09:00:00Z"))
		if at == "" && err == nil {
			continue
		}
		if r := refusalOf(t, err); r.At != at {
			t.Errorf("%s: refused at %s: %v", at, r.At, r)
		}
	}
	g := genesis(false)
	g.Form = signoff.LeastForm + 1
	if err := emptyHistory(t).judge(encodeGenesis(g, at(0))); !errors.Is(err, ErrUnknownKind) {
		t.Errorf("of a higher form: %v", err)
	}
	action := newHistory(t, false).tell("L enrols C calibrator", nil).GetEntry()
	if r := refusalOf(t, emptyHistory(t).judge(action)); r.Reason != ReasonBadEntry {
		t.Errorf("an action as the first entry: %v", r)
	}
	h := emptyHistory(t)
	opening := signoff.NewOpening("note", "x", bytes.NewReader(make([]byte, 32)))
	if r := refusalOf(t, h.admit(&recordv1.Told{Entry: entry, Openings: []*recordv1.Opening{opening}})); r.Reason != ReasonOpening {
		t.Errorf("with an opening: %v", r)
	}
}

func TestDecideWithoutGenesis(t *testing.T) {
	emptyHistory(t).view(func(s *State) {
		if r := refusalOf(t, Decide(s, &signoff.Signed{})); r.Reason != ReasonNoGenesis {
			t.Error(r)
		}
		_, err := s.Target(&recordv1.Action{})
		if r := refusalOf(t, err); r.Reason != ReasonNoGenesis {
			t.Error(r)
		}
		_, err = s.Release(1)
		if r := refusalOf(t, err); r.Reason != ReasonNotFound {
			t.Error(r)
		}
		if len(s.People()) != 0 || len(s.CarHistory(1).GetEvents()) != 0 || len(s.ServerKey()) != 0 || s.Outdated() || s.Unapplied() {
			t.Error("an empty state says something")
		}
	})
}

// TestKeyOfAnotherID: Decide believes no key that the state does not have under that id.
func TestKeyOfAnotherID(t *testing.T) {
	h := newHistory(t, false)
	told := h.tell("L enrols C calibrator", nil)
	h.view(func(s *State) {
		signed, err := s.Open(envelopeIn(t, told.GetEntry()))
		if err != nil {
			t.Fatal(err)
		}
		if err := Decide(s, signed); err != nil {
			t.Errorf("the lead's own key: %v", err)
		}
		signed.Key = pub("somebody")
		if r := refusalOf(t, Decide(s, signed)); r.Reason != ReasonUnknownKey {
			t.Error(r)
		}
	})
}

// TestUnknownKind: what a newer program wrote stops deciding and collecting, not looking; and that it
// was a higher form or another kind makes no difference.
func TestUnknownKind(t *testing.T) {
	for _, form := range []int{signoff.Form, signoff.Form + 1} {
		h := newHistory(t, false).script(oneJob + "C submits 1 first\nD signs 1.1")
		newer := newerEntry(h, form)
		if err := h.judge(newer); !errors.Is(err, ErrUnknownKind) {
			t.Fatalf("judge: %v, want ErrUnknownKind", err)
		}
		after := h.tell("T collects 1.1", nil)
		before := look(h, func(s *State) uint64 { return s.Size() })
		for _, entry := range [][]byte{newer, after.GetEntry()} {
			if err := h.admit(&recordv1.Told{Entry: entry}); err != nil {
				t.Fatal(err)
			}
		}
		if r := refusalOf(t, h.admit(&recordv1.Told{Entry: []byte("no entry")})); r.Reason != ReasonBadEntry {
			t.Error(r)
		}
		h.view(func(s *State) {
			signed, err := s.Open(envelopeIn(t, after.GetEntry()))
			if err != nil {
				t.Fatal(err)
			}
			_, releaseErr := s.Release(1)
			for what, err := range map[string]error{"judge": h.judge(after.GetEntry()), "decide": Decide(s, signed), "release": releaseErr} {
				if !errors.Is(err, ErrUnknownKind) {
					t.Errorf("%s after it: %v, want ErrUnknownKind", what, err)
				}
			}
			if j, ok := s.Job(1); !s.Unapplied() || s.Size() != before+2 || !ok || len(j.GetCollections()) != 0 {
				t.Errorf("unapplied %v, size %d, job %v", s.Unapplied(), s.Size(), j)
			}
		})
		replays(t, h)
	}
}

// TestCatchUpDistrusts: what was kept unapplied is judged when it is taken up.
func TestCatchUpDistrusts(t *testing.T) {
	hidden := kinds["note"]
	defer func() { kinds["note"] = hidden }()
	for name, line := range map[string]string{"an opening of nothing": "T opens AB-2", "what the rules refuse": "C opens AB-2"} {
		h := newHistory(t, false).script(oneJob)
		note := h.tell("C notes 1 hello", nil)
		next := h.tell(line, nil)
		if name == "an opening of nothing" {
			next.Openings = append(next.Openings, signoff.NewOpening("note", "NOBODYS", bytes.NewReader(make([]byte, 32))))
		}
		delete(kinds, "note")
		err := errors.Join(h.admit(note), h.admit(next))
		kinds["note"] = hidden
		if err != nil {
			t.Fatalf("%s, kept: %v", name, err)
		}
		err = h.engine.Update(func(w store.WriteTx) error { return Write(w).CatchUp() })
		if r := refusalOf(t, err); !strings.HasPrefix(err.Error(), fmt.Sprintf("entry %d: ", len(h.told)-1)) {
			t.Errorf("%s: %v %v", name, err, r)
		}
	}
}

// TestAlteredHistories: no entry can be left out, moved, or changed in any byte that replaying does not tell.
func TestAlteredHistories(t *testing.T) {
	h := newHistory(t, false).script(oneJob + "C submits 1 first\nD signs 1.1\nT collects 1.1")
	replay := func(list []*recordv1.Told) (root string, err error) {
		again := emptyHistory(t)
		err = admit(again.engine, nil, list...)
		return look(again, func(s *State) string { return s.Head().GetRoot() }), err
	}
	whole, err := replay(h.told)
	if err != nil {
		t.Fatal(err)
	}
	for i := range h.told {
		cut := append(append([]*recordv1.Told{}, h.told[:i]...), h.told[i+1:]...)
		if _, err := replay(cut); err == nil && i < len(h.told)-1 {
			t.Errorf("without entry %d: replays", i)
		}
		for b := 0; b < len(h.told[i].GetEntry()); b += 29 {
			altered := append([]*recordv1.Told{}, h.told...)
			entry := bytes.Clone(h.told[i].GetEntry())
			entry[b] ^= 1
			altered[i] = &recordv1.Told{Entry: entry, Openings: h.told[i].GetOpenings()}
			root, err := replay(altered)
			if err == nil && root == whole {
				t.Errorf("entry %d, byte %d: replays to the same root", i, b)
			}
			// Only what nobody signed, the last entry's time, can differ and replay: the checkpoint tells.
			if err == nil && (i < len(h.told)-1 || b < len(entry)-22) {
				t.Errorf("entry %d, byte %d: replays", i, b)
			}
		}
	}
}
