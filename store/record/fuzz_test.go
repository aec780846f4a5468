package record

import (
	"bytes"
	"crypto/ed25519"
	"encoding/base64"
	"encoding/json"
	"errors"
	"fmt"
	"testing"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/store"
	"witnessmark/store/memory"
	"witnessmark/store/signoff"
)

// lived is a history with something of everything in it.
func lived(t tb) *history {
	return newHistory(t, false).script(oneJob + `
		C submits 1 first
		D signs 1.1
		T collects 1.1
		T reads 1 again differs
		T runs 1 after danger
		C submits 1 second warn=a
		L submits 1 mine
		T opens CD-2
		T reads 2 two
		T opens EF-3
		T closes 3 done
		L opens-corridor 2 C from=0
		C submits 2 inside`)
}

var livedLines = []string{
	"L enrols N technician", "L retires D compromised", "L defines d D2", "L limits l L2 worse=1.1", "L opens A-2 frame=F fuel=E85", "L amends 1 A-2",
	"L closes 1 done", "L reopens 3", "L reads 1 again differs", "L voids 1 2", "L submits 1 third warn=a,b", "L signs 1.2", "L returns 1.1",
	"L withdraws 1.3", "L collects 1.1", "L reads-back 1.1 found", "L cannot-read 1.1", "L runs 1 after", "L notes 1.1 hello file=a",
	"L settles 1 run-danger 1.run1", "L erases 3 images",
	"L opens-corridor 1 C,D from=1 most=notice maps=3", "L closes-corridor 2 1 keep=1 because=late", "L submits 2 more", "C submits 2 out key=C out=cell:fuel,bytes:",
	"L runs 1 after of=1.1", "L signs 2.1",
}

// FuzzJudge: whatever a server sends, judging and applying neither panic nor disagree.
func FuzzJudge(f *testing.F) {
	h := lived(f)
	for _, line := range livedLines {
		f.Add(h.tell(line, nil).GetEntry())
	}
	for _, told := range h.told {
		f.Add(told.GetEntry())
	}
	f.Add(newerEntry(h, signoff.Form))
	f.Add(newerEntry(h, signoff.Form+1))
	f.Add([]byte{})
	f.Fuzz(func(t *testing.T, entry []byte) {
		if e, err := parseEntry(entry); err == nil && e.GetGenesis() == nil && !bytes.Equal(MakeEntry(e.GetEnvelope(), e.GetAdmittedAt()), entry) {
			t.Fatal("an entry has two forms")
		}
		tryEntry(t, memory.New(), entry)
		tryEntry(t, h.engine, entry)
	})
}

var errUndo = errors.New("undone")

// tryEntry admits an entry, asks what must hold then, and leaves the engine as it was.
func tryEntry(t *testing.T, engine store.Engine, entry []byte) {
	t.Helper()
	err := engine.Update(func(w store.WriteTx) error {
		s := Write(w)
		size := s.Size()
		_, verdict := Judge(s, entry)
		_, err := s.Admit(entry, nil)
		var r *Refusal
		switch {
		case errors.Is(verdict, ErrUnknownKind):
			if err != nil || !s.Unapplied() {
				t.Fatalf("unknown: admitted with %v", err)
			}
		case verdict == nil:
			if err != nil || s.Unapplied() || s.Size() != size+1 {
				t.Fatalf("judged right: admitted with %v, size %d", err, s.Size())
			}
		case !errors.As(verdict, &r) || !errors.As(err, &r):
			t.Fatalf("neither refused nor unknown: %v, %v", verdict, err)
		case s.Size() != size:
			t.Fatalf("refused, and the size is %d", s.Size())
		}
		if err := errors.Join(s.Finish(), store.CheckSum(w)); err != nil {
			t.Fatal(err)
		}
		s.Jobs(0, func(*recordv1.Job) bool { return true })
		if s.Err() != nil {
			t.Fatal(s.Err())
		}
		return errUndo
	})
	if !errors.Is(err, errUndo) {
		t.Fatal(err)
	}
}

// FuzzSigned: the same for payloads that a lead has really signed, so that the rules see them.
func FuzzSigned(f *testing.F) {
	h := lived(f)
	for _, line := range livedLines {
		var e struct{ PayloadType, Payload string }
		envelope, _, err := EnvelopeOf(h.tell(line, nil).GetEntry())
		if err == nil {
			err = json.Unmarshal(envelope, &e)
		}
		payload, err2 := base64.StdEncoding.DecodeString(e.Payload)
		if err != nil || err2 != nil {
			f.Fatal(err, err2)
		}
		f.Add(payload, e.PayloadType == signoff.StatementType)
	}
	f.Fuzz(func(t *testing.T, payload []byte, statement bool) {
		kind := signoff.ActionType
		if statement {
			kind = signoff.StatementType
		}
		tryEntry(t, h.engine, MakeEntry(sealBytes(kind, payload, "L"), at(1)))
	})
}

// TestLivedLines: the seeds of FuzzSigned are right, all of them, and of every kind.
func TestLivedLines(t *testing.T) {
	h := lived(t)
	seen := map[string]bool{}
	for _, line := range livedLines {
		told := h.tell(line, func(a *recordv1.Action) { seen[kindOf(a)] = true })
		if err := h.judge(told.GetEntry()); err != nil {
			t.Errorf("%s: %v", line, err)
		}
	}
	if len(seen) != len(kinds) {
		t.Errorf("%d kinds of %d", len(seen), len(kinds))
	}
}

// sealBytes makes an envelope by hand (DSSE, protocol.md: what is signed is "DSSEv1", then type
// and payload, each after its length), since Seal writes only what it knows.
func sealBytes(kind string, payload []byte, key string) []byte {
	pae := fmt.Sprintf("DSSEv1 %d %s %d %s", len(kind), kind, len(payload), payload)
	b64 := base64.StdEncoding.EncodeToString
	return fmt.Appendf(nil, `{"payloadType":%q,"payload":%q,"signatures":[{"keyid":%q,"sig":%q}]}`,
		kind, b64(payload), signoff.Fingerprint(pub(key)), b64(ed25519.Sign(keyOf(key), []byte(pae))))
}

// newerEntry is a well signed entry of a kind that is not known yet, or of a higher form.
func newerEntry(h *history, form int) []byte {
	payload := look(h, func(s *State) string {
		return fmt.Sprintf(`{"form":%d,"genesis":%q,"request_id":"newer","acts_on":%q,"seen":{"size":1,"root":%q},"time":%q,"polish":{}}`,
			form, s.GenesisSHA256(), s.leaf(0), hexHash(s.Root(1)), at(1))
	})
	return MakeEntry(sealBytes(signoff.ActionType, []byte(payload), "L"), at(1))
}
