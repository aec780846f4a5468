package record

import (
	"bytes"
	"encoding/hex"
	"errors"
	"fmt"
	"strings"
	"testing"

	"golang.org/x/mod/sumdb/tlog"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/store/signoff"
)

func TestJudgeEntries(t *testing.T) {
	h := newHistory(t, false).script(staff)
	good := h.entry("T opens AB-1", nil)
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
		{"a second genesis", ReasonBadEntry, h.entries[0]},
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
		{"a stranger", ReasonUnknownKey, h.entry("T opens AB-1 key=stranger", nil)},
	} {
		if r := refusalOf(t, Judge(h.s, c.entry)); r.Reason != c.reason || strings.Contains(r.Text, "\n") {
			t.Errorf("%s: %s %q, want %s in one line", c.name, r.Reason, r.Text, c.reason)
		}
	}
	if err := Judge(h.s, good); err != nil {
		t.Errorf("the entry itself: %v", err)
	}
}

// swapped writes admitted_at before the envelope: the same message, other bytes.
func swapped(entry []byte) []byte {
	time := entry[len(entry)-22:] // tag, length, 20 characters
	return append(bytes.Clone(time), entry[:len(entry)-22]...)
}

func TestGenesisEntries(t *testing.T) {
	make := func(change func(*recordv1.Genesis)) []byte {
		g := &recordv1.Genesis{
			ServerKey: signoff.FormatPublicKey(pub("server")), LeadName: "L", LeadKey: signoff.FormatPublicKey(pub("L")),
			CreatedAt: at(0), Salt: sha("salt")[:32],
		}
		change(g)
		return encodeGenesis(g, at(0))
	}
	same, sum := NewGenesis(pub("server"), "L", pub("L"), false, at(0), sha("salt")[:32])
	if !bytes.Equal(same, make(func(*recordv1.Genesis) {})) || sum != hexSHA256(same) {
		t.Error("NewGenesis writes other bytes")
	}
	if err := Judge(&State{}, same); err != nil {
		t.Errorf("a right one: %v", err)
	}
	for at, change := range map[string]func(*recordv1.Genesis){
		"genesis.server_key": func(g *recordv1.Genesis) { g.ServerKey = "" },
		"genesis.lead_key":   func(g *recordv1.Genesis) { g.LeadKey = g.ServerKey },
		"genesis.lead_name":  func(g *recordv1.Genesis) { g.LeadName = "" },
		"entry.admitted_at":  func(g *recordv1.Genesis) { g.CreatedAt = "" },
		"genesis.salt":       func(g *recordv1.Genesis) { g.Salt = "SALT" },
	} {
		entry := make(change)
		if r := refusalOf(t, Judge(&State{}, entry)); r.At != at {
			t.Errorf("%s: refused at %s: %v", at, r.At, r)
		}
		s := &State{}
		Apply(s, entry)
		if at != "entry.admitted_at" && (!s.Unknown || s.Size != 1) {
			t.Errorf("%s: applied as if it were right", at)
		}
	}
	h := newHistory(t, false)
	if r := refusalOf(t, Judge(&State{}, h.entry("L enrols C calibrator", nil))); r.Reason != ReasonBadEntry {
		t.Errorf("an action as the first entry: %v", r)
	}
}

func TestDecideWithoutGenesis(t *testing.T) {
	s := &State{}
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
	if len(s.People())+len(s.Jobs())+len(s.Documents("limits")) != 0 || s.CarHistory("A").GetCar() != "A" || len(s.ServerKey()) != 0 {
		t.Error("an empty state says something")
	}
}

// TestKeyOfAnotherID: Decide believes no key that the state does not have under that id.
func TestKeyOfAnotherID(t *testing.T) {
	h := newHistory(t, false)
	signed, err := h.s.Open(envelopeIn(t, h.entry("L enrols C calibrator", nil)))
	if err != nil {
		t.Fatal(err)
	}
	if err := Decide(h.s, signed); err != nil {
		t.Errorf("the lead's own key: %v", err)
	}
	signed.Key = pub("somebody")
	if r := refusalOf(t, Decide(h.s, signed)); r.Reason != ReasonUnknownKey {
		t.Error(r)
	}
}

// TestUnknownKind: an entry from a newer program stops deciding and collecting, not looking.
func TestUnknownKind(t *testing.T) {
	h := newHistory(t, false).script(oneJob + "C submits 1 first\nD signs 1.1")
	newer := newerEntry(h)
	if err := Judge(h.s, newer); !errors.Is(err, ErrUnknownKind) {
		t.Fatalf("judge: %v, want ErrUnknownKind", err)
	}
	after := h.entry("T collects 1.1", nil)
	Apply(h.s, newer)
	Apply(h.s, after)
	if !h.s.Unknown || h.s.Size != uint64(len(h.entries)+2) {
		t.Fatalf("unknown %v, size %d", h.s.Unknown, h.s.Size)
	}
	signed, err := h.s.Open(envelopeIn(t, after))
	if err != nil {
		t.Fatal(err)
	}
	_, releaseErr := h.s.Release(1)
	for what, err := range map[string]error{"judge": Judge(h.s, after), "decide": Decide(h.s, signed), "release": releaseErr} {
		if !errors.Is(err, ErrUnknownKind) {
			t.Errorf("%s after it: %v, want ErrUnknownKind", what, err)
		}
	}
	if job, _ := h.s.Job(1); len(job.GetCollections()) != 1 {
		t.Error("what came after it is not shown")
	}
	s, err := Replay(append(append([][]byte{}, h.entries...), newer, after))
	if !errors.Is(err, ErrUnknownKind) || !strings.Contains(err.Error(), fmt.Sprintf("entry %d", len(h.entries))) || dump(s) != dump(h.s) {
		t.Errorf("replay: %v", err)
	}
}

// TestAlteredHistories: no entry can be left out, moved, or changed in any byte that replaying does not tell.
func TestAlteredHistories(t *testing.T) {
	h := newHistory(t, false).script(oneJob + "C submits 1 first\nD signs 1.1\nT collects 1.1")
	whole, err := Replay(h.entries)
	if err != nil {
		t.Fatal(err)
	}
	for i := range h.entries {
		cut := append(append([][]byte{}, h.entries[:i]...), h.entries[i+1:]...)
		if _, err := Replay(cut); err == nil && i < len(h.entries)-1 {
			t.Errorf("without entry %d: replays", i)
		}
		for b := 0; b < len(h.entries[i]); b += 7 {
			altered := append([][]byte{}, h.entries...)
			altered[i] = bytes.Clone(altered[i])
			altered[i][b] ^= 1
			s, err := Replay(altered)
			if err == nil && s.Roots[s.Size] == whole.Roots[whole.Size] {
				t.Errorf("entry %d, byte %d: replays to the same root", i, b)
			}
			// Only what nobody signed, the last entry's time, can differ and replay: the checkpoint tells.
			if err == nil && (i < len(h.entries)-1 || b < len(h.entries[i])-22) {
				t.Errorf("entry %d, byte %d: replays", i, b)
			}
		}
	}
}

// Roots of the trees of eight leaves. Source: transparency-dev/merkle, testonly/constants.go at
// commit 417fb0c3.
func TestRoots(t *testing.T) {
	leaves := []string{"", "00", "10", "2021", "3031", "40414243", "5051525354555657", "606162636465666768696a6b6c6d6e6f"}
	s := &State{}
	for _, l := range leaves {
		b, err := hex.DecodeString(l)
		if err != nil {
			t.Fatal(err)
		}
		s.grow(b)
	}
	const eighth = "5dc9da79a70659a9ad559cb701ded9a2ab9d823aad2f4960cfe370eff4604328"
	if got := hexHash(s.Roots[8]); got != eighth {
		t.Errorf("root of eight: %s, want %s", got, eighth)
	}
	if got := hexHash(s.Roots[0]); got != "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855" {
		t.Errorf("root of none: %s, want the SHA-256 of nothing", got)
	}
	var stored []tlog.Hash
	reader := tlog.HashReaderFunc(func(indexes []int64) (out []tlog.Hash, err error) {
		for _, i := range indexes {
			out = append(out, stored[i])
		}
		return out, nil
	})
	s = &State{}
	for n := int64(0); n < 70; n++ {
		entry := []byte(fmt.Sprint("entry ", n))
		hashes, err := tlog.StoredHashes(n, entry, reader)
		if err != nil {
			t.Fatal(err)
		}
		stored = append(stored, hashes...)
		s.grow(entry)
		want, err := tlog.TreeHash(n+1, reader)
		if err != nil {
			t.Fatal(err)
		}
		if s.Roots[n+1] != want {
			t.Fatalf("size %d: %v, want %v", n+1, s.Roots[n+1], want)
		}
	}
}
