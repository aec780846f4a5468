package signoff_test

import (
	"bytes"
	"context"
	"crypto"
	"crypto/ed25519"
	"encoding/json"
	"errors"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"

	attestation "github.com/in-toto/attestation/go/v1"
	"github.com/secure-systems-lab/go-securesystemslib/dsse"
	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/store/signoff"
)

func TestSealedOpens(t *testing.T) {
	for kind, a := range map[string]*recordv1.Action{"job": jobAction(), "collect": collectAction(), "sign_off": signOffAction(), "return": returnAction()} {
		envelope := seal(t, a)
		got, err := signoff.Open(envelope, ring(testKey(t)))
		if err != nil {
			t.Fatalf("%s: %v", kind, err)
		}
		if got.Kind != kind || !proto.Equal(got.Action, a) || !bytes.Equal(got.Envelope, envelope) || got.KeyID != signoff.Fingerprint(public(testKey(t))) {
			t.Errorf("%s: opened %+v", kind, got)
		}
		envelope[0] = 'x'
		if got.Envelope[0] == 'x' {
			t.Errorf("%s: what was opened shares the caller's bytes", kind)
		}
	}
}

// TestGoldenEnvelopes freezes the bytes that are signed. Ed25519 is deterministic, so a change of
// one byte here is a change of the format: old ledgers would still open, but look again.
func TestGoldenEnvelopes(t *testing.T) {
	for name, a := range map[string]*recordv1.Action{"job.json": jobAction(), "collect.json": collectAction(), "sign_off.json": signOffAction(), "return.json": returnAction()} {
		path := filepath.Join("testdata", name)
		envelope := seal(t, a)
		if os.Getenv("UPDATE_GOLDEN") != "" {
			if err := os.WriteFile(path, envelope, 0o644); err != nil {
				t.Fatal(err)
			}
		}
		want, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		if !bytes.Equal(envelope, want) {
			t.Errorf("%s: sealed\n%s\n%s\ngolden\n%s\n%s", name, envelope, payloadOf(t, envelope), want, payloadOf(t, want))
		}
	}
}

// TestStatementIsInToto has the standard's own library read and validate what is signed.
func TestStatementIsInToto(t *testing.T) {
	for want, a := range map[string]*recordv1.Action{signoff.SignOffPredicate: signOffAction(), signoff.ReturnPredicate: returnAction()} {
		var s attestation.Statement
		if err := protojson.Unmarshal([]byte(payloadOf(t, seal(t, a))), &s); err != nil {
			t.Fatal(err)
		}
		if err := s.Validate(); err != nil {
			t.Error(err)
		}
		if s.PredicateType != want || len(s.Subject) != 1 || s.Subject[0].Digest["sha256"] != imageSHA || s.Subject[0].Name != "job 7 submission 2 image" {
			t.Errorf("statement %v", &s)
		}
	}
}

// libraryVerifier lets the DSSE library verify an Ed25519 envelope by its own rules.
type libraryVerifier struct{ key ed25519.PublicKey }

func (v libraryVerifier) Verify(_ context.Context, data, sig []byte) error {
	if !ed25519.Verify(v.key, data, sig) {
		return errors.New("does not fit")
	}
	return nil
}
func (v libraryVerifier) KeyID() (string, error)   { return string(signoff.Fingerprint(v.key)), nil }
func (v libraryVerifier) Public() crypto.PublicKey { return v.key }

func TestLibraryVerifiesWhatIsSealed(t *testing.T) {
	verifier, err := dsse.NewEnvelopeVerifier(libraryVerifier{public(testKey(t))})
	if err != nil {
		t.Fatal(err)
	}
	var e dsse.Envelope
	if err := json.Unmarshal(seal(t, signOffAction()), &e); err != nil {
		t.Fatal(err)
	}
	if accepted, err := verifier.Verify(context.Background(), &e); err != nil || len(accepted) != 1 {
		t.Errorf("the library says %v, %v", accepted, err)
	}
}

// TestTampering flips every bit of an envelope: nothing may open but the same action.
func TestTampering(t *testing.T) {
	want := signOffAction()
	envelope := seal(t, want)
	for i := range envelope {
		for bit := range 8 {
			bad := bytes.Clone(envelope)
			bad[i] ^= 1 << bit
			if _, err := signoff.Open(bad, ring(testKey(t))); err == nil {
				t.Fatalf("byte %d bit %d opened: %s", i, bit, bad)
			}
		}
	}
	for n := range len(envelope) {
		if _, err := signoff.Open(envelope[:n], ring(testKey(t))); !errors.Is(err, signoff.ErrForm) {
			t.Fatalf("first %d bytes: %v", n, err)
		}
	}
}

func TestEnvelopeRefusals(t *testing.T) {
	good := string(seal(t, collectAction()))
	other := ed25519.NewKeyFromSeed(bytes.Repeat([]byte{9}, 32))
	swap := func(old, new string) string {
		if !strings.Contains(good, old) {
			t.Fatalf("no %q in the envelope", old)
		}
		return strings.Replace(good, old, new, 1)
	}
	var e dsse.Envelope
	if err := json.Unmarshal([]byte(good), &e); err != nil {
		t.Fatal(err)
	}
	two := e
	two.Signatures = append(two.Signatures, e.Signatures[0])
	twice, _ := json.Marshal(two)
	none := e
	none.Signatures = []dsse.Signature{}
	unsigned, _ := json.Marshal(none)
	for _, c := range []struct {
		name, envelope string
		want           error
	}{
		{"nothing", "", signoff.ErrForm},
		{"null", "null", signoff.ErrForm},
		{"list", "[]", signoff.ErrForm},
		{"trailing data", good + "{}", signoff.ErrForm},
		{"trailing brace", good + "}", signoff.ErrForm},
		{"two signatures", string(twice), signoff.ErrForm},
		{"no signature", string(unsigned), signoff.ErrForm},
		{"unknown field", swap(`"payload":`, `"more":1,"payload":`), signoff.ErrForm},
		{"field in another case", swap(`"payload":`, `"Payload":`), signoff.ErrForm},
		{"field twice", swap(`"payload":`, `"payload":"","payload":`), signoff.ErrForm},
		{"key id twice", swap(`"keyid":`, `"keyid":"","keyid":`), signoff.ErrForm},
		{"key id missing", swap(`"keyid":`, `"key":`), signoff.ErrForm},
		{"key id no fingerprint", swap(`"keyid":"SHA256:`, `"keyid":"SHA512:`), signoff.ErrForm},
		{"signature with a line end", swap(`"sig":"`, `"sig":"\n`), signoff.ErrForm},
		{"signature no text", swap(`"sig":"`, `"sig":7,"x":"`), signoff.ErrForm},
		{"not UTF-8", swap(`"payload":`, "\"payload\xff\":"), signoff.ErrForm},
		{"another payload type", swap(signoff.ActionType, signoff.StatementType), signoff.ErrSignature},
		{"another's key id", swap(string(signoff.Fingerprint(public(testKey(t)))), string(signoff.Fingerprint(public(other)))), signoff.ErrSignature},
		{"too long", good + strings.Repeat(" ", signoff.MaxEnvelope), signoff.ErrForm},
	} {
		_, err := signoff.Open([]byte(c.envelope), ring(testKey(t), other))
		if !errors.Is(err, c.want) {
			t.Errorf("%s: %v, want %v", c.name, err, c.want)
		}
		oneLine(t, err)
	}
	if _, err := signoff.Open([]byte(good), ring(other)); !errors.Is(err, signoff.ErrUnknownKey) {
		t.Errorf("a key that nobody holds: %v", err)
	}
	wrong := func(signoff.KeyID) (ed25519.PublicKey, bool) { return public(other), true }
	if _, err := signoff.Open([]byte(good), wrong); !errors.Is(err, signoff.ErrUnknownKey) {
		t.Errorf("a key that does not fit its id: %v", err)
	}
	if _, err := signoff.Open([]byte("\n\t "+good+"\r\n"), ring(testKey(t))); err != nil {
		t.Errorf("space around: %v", err)
	}
}

// signers that are no Ed25519 keys, or answer nonsense, as a broken agent could.
type badSigner struct {
	key crypto.PublicKey
	sig []byte
	err error
}

func (s badSigner) Public() crypto.PublicKey { return s.key }
func (s badSigner) Sign(io.Reader, []byte, crypto.SignerOpts) ([]byte, error) {
	return s.sig, s.err
}

func TestSealRefusals(t *testing.T) {
	refused := errors.New("refused by the agent")
	badImage := signOffAction()
	badImage.GetSignOff().ImageSha256 = strings.ToUpper(imageSHA)
	long := collectAction()
	long.RequestId = strings.Repeat("x", signoff.MaxEnvelope)
	notText := collectAction()
	notText.RequestId = "\xff"
	for _, c := range []struct {
		name   string
		action *recordv1.Action
		signer crypto.Signer
		want   error
	}{
		{"no Ed25519", collectAction(), badSigner{key: "x"}, signoff.ErrKey},
		{"signature of something else", collectAction(), badSigner{key: public(testKey(t)), sig: make([]byte, 64)}, signoff.ErrSignature},
		{"agent refuses", collectAction(), badSigner{key: public(testKey(t)), err: refused}, refused},
		{"no body", header(), testKey(t), signoff.ErrForm},
		{"image hash in capitals", badImage, testKey(t), signoff.ErrForm},
		{"too long", long, testKey(t), nil},
		{"not UTF-8", notText, testKey(t), nil},
	} {
		_, err := signoff.Seal(c.action, c.signer)
		if err == nil || c.want != nil && !errors.Is(err, c.want) {
			t.Errorf("%s: %v, want %v", c.name, err, c.want)
		}
		oneLine(t, err)
	}
}

func FuzzOpen(f *testing.F) {
	f.Add(seal(f, collectAction()))
	f.Add(seal(f, signOffAction()))
	f.Add([]byte(`{"payloadType":"","payload":"","signatures":[{"keyid":"","sig":""}]}`))
	f.Add([]byte(strings.Repeat("[", 1000)))
	known := ring(testKey(f))
	sealed := map[string]bool{payloadOf(f, seal(f, collectAction())): true, payloadOf(f, seal(f, signOffAction())): true}
	f.Fuzz(func(t *testing.T, in []byte) {
		got, err := signoff.Open(in, known)
		if err == nil && !sealed[payloadOf(t, got.Envelope)] {
			t.Fatalf("forged: %s", in)
		}
	})
}

// FuzzPayload reaches what only a holder of a key can send.
func FuzzPayload(f *testing.F) {
	for _, a := range []*recordv1.Action{collectAction(), signOffAction(), returnAction()} {
		f.Add(payloadOf(f, seal(f, a)), a.GetCollect() == nil)
	}
	f.Add(`{"novel":{"a":[1,null,{"b":true}]}}`, false)
	f.Add(`{"novel":{"a":`+strings.Repeat("[", 200)+`}}`, false)
	key := testKey(f)
	f.Fuzz(func(t *testing.T, payload string, asStatement bool) {
		kind := signoff.ActionType
		if asStatement {
			kind = signoff.StatementType
		}
		got, err := signoff.Open(wrap(t, key, kind, payload), ring(key))
		if err != nil {
			return
		}
		// What is accepted can be said again in the usual form, and means the same.
		again, err := signoff.Seal(got.Action, key)
		if err != nil {
			t.Fatalf("accepted %q, but cannot be sealed: %v", payload, err)
		}
		back, err := signoff.Open(again, ring(key))
		if err != nil || !proto.Equal(back.Action, got.Action) {
			t.Fatalf("%q came back as %v, %v", payload, back, err)
		}
	})
}
