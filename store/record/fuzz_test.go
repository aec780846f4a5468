package record

import (
	"bytes"
	"crypto/ed25519"
	"encoding/base64"
	"encoding/json"
	"errors"
	"fmt"
	"testing"

	"witnessmark/store/signoff"
)

type fuzzTB struct{ *testing.F }

// lived is a history with something of everything in it.
func lived(t tb) *history {
	return newHistory(t, false).script(oneJob + `
		C submits 1 first
		D signs 1.1
		T collects 1.1
		C submits 1 second warn=a`)
}

// FuzzJudge: whatever a server sends, judging and applying neither panic nor disagree.
func FuzzJudge(f *testing.F) {
	h := lived(&fuzzTB{f})
	for _, line := range []string{"T reads-back 1.1 first", "L retires D compromised", "C submits 1 third warn=a", "T opens X frame=f"} {
		f.Add(h.entry(line, nil))
	}
	for _, e := range h.entries {
		f.Add(e)
	}
	f.Add(newerEntry(h))
	f.Add([]byte{})
	f.Fuzz(func(t *testing.T, entry []byte) {
		if e, err := parseEntry(entry); err == nil && e.GetGenesis() == nil && !bytes.Equal(MakeEntry(e.GetEnvelope(), e.GetAdmittedAt()), entry) {
			t.Fatal("an entry has two forms")
		}
		judgeAndApply(t, nil, entry)
		judgeAndApply(t, h.entries, entry)
	})
}

// judgeAndApply adds an entry to a ledger whatever the verdict is, and checks what must hold then.
func judgeAndApply(t *testing.T, before [][]byte, entry []byte) {
	t.Helper()
	s, err := Replay(before)
	if err != nil {
		t.Fatal(err)
	}
	n := len(before)
	verdict := Judge(s, entry)
	Apply(s, entry)
	if s.Size != uint64(n+1) || len(s.Leaves) != n+1 || len(s.Roots) != n+2 {
		t.Fatalf("%d entries after %d", s.Size, n)
	}
	var r *Refusal
	switch {
	case verdict == nil && s.Unknown:
		t.Fatal("judged right and not understood")
	case errors.Is(verdict, ErrUnknownKind) && !s.Unknown:
		t.Fatal("judged unknown and understood")
	case verdict != nil && !errors.Is(verdict, ErrUnknownKind) && !errors.As(verdict, &r):
		t.Fatalf("neither refused nor unknown: %v", verdict)
	}
	dump(s)
}

// FuzzSigned: the same for payloads that a lead has really signed, so that the rules see them.
func FuzzSigned(f *testing.F) {
	h := lived(&fuzzTB{f})
	for _, line := range []string{
		"L enrols N technician", "L retires D compromised", "L defines d D2", "L limits l L2", "L rekeys-server s2",
		"L opens A-2 frame=f fuel=E85", "L reads 1 again differs", "L submits 1 third warn=a,b", "L signs 1.2", "L returns 1.1",
		"L withdraws 1.2", "L collects 1.1", "L reads-back 1.1 found", "L cannot-read 1.1", "L runs 1 after",
	} {
		var e struct{ PayloadType, Payload string }
		envelope, _, err := EnvelopeOf(h.entry(line, nil))
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
		judgeAndApply(t, h.entries, MakeEntry(sealBytes(kind, payload, "L"), at(1)))
	})
}

// sealBytes makes an envelope by hand (DSSE, protocol.md: what is signed is "DSSEv1", then type
// and payload, each after its length), since Seal writes only what it knows.
func sealBytes(kind string, payload []byte, key string) []byte {
	pae := fmt.Sprintf("DSSEv1 %d %s %d %s", len(kind), kind, len(payload), payload)
	b64 := base64.StdEncoding.EncodeToString
	return fmt.Appendf(nil, `{"payloadType":%q,"payload":%q,"signatures":[{"keyid":%q,"sig":%q}]}`,
		kind, b64(payload), signoff.Fingerprint(pub(key)), b64(ed25519.Sign(keyOf(key), []byte(pae))))
}

// newerEntry is a well signed entry of a kind that is not known yet.
func newerEntry(h *history) []byte {
	payload := fmt.Sprintf(`{"genesis":%q,"request_id":"newer","acts_on":%q,"seen":{"size":1,"root":%q},"time":%q,"polish":{}}`,
		h.s.GenesisSHA256, h.s.leaf(0), hexHash(h.s.Roots[1]), at(1))
	return MakeEntry(sealBytes(signoff.ActionType, []byte(payload), "L"), at(1))
}
