package signoff_test

import (
	"bytes"
	"crypto/ed25519"
	"encoding/base64"
	"encoding/hex"
	"encoding/json"
	"strings"
	"testing"

	"github.com/secure-systems-lab/go-securesystemslib/dsse"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/store/signoff"
)

const imageSHA = "5dc9da79a70659a9ad559cb701ded9a2ab9d823aad2f4960cfe370eff4604328"

func unhex(t testing.TB, s string) []byte {
	t.Helper()
	b, err := hex.DecodeString(s)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// testKey is the private key of RFC 8032, section 7.1, TEST 1: public, so of no use to anyone.
func testKey(t testing.TB) ed25519.PrivateKey {
	return ed25519.NewKeyFromSeed(unhex(t, "9d61b19deffd5a60ba844af492ec2cc44449c5697b326919703bac031cae7f60"))
}

func public(key ed25519.PrivateKey) ed25519.PublicKey { return key.Public().(ed25519.PublicKey) }

// ring finds the given keys by their fingerprints.
func ring(keys ...ed25519.PrivateKey) func(signoff.KeyID) (ed25519.PublicKey, bool) {
	return func(id signoff.KeyID) (ed25519.PublicKey, bool) {
		for _, k := range keys {
			if signoff.Fingerprint(public(k)) == id {
				return public(k), true
			}
		}
		return nil, false
	}
}

func header() *recordv1.Action {
	return &recordv1.Action{
		Form:      signoff.LeastForm,
		Genesis:   strings.Repeat("ab", 32),
		RequestId: "r-1",
		ActsOn:    strings.Repeat("cd", 32),
		Seen:      &recordv1.Seen{Size: 3, Root: strings.Repeat("ef", 32)},
		Time:      "2026-11-25T10:00:00Z",
	}
}

func collectAction() *recordv1.Action {
	a := header()
	a.Body = &recordv1.Action_Collect{Collect: &recordv1.Collect{Job: 7, Submission: 2, ImageSha256: imageSHA, CarCheckedBy: "fresh-read"}}
	return a
}

func signOffAction() *recordv1.Action {
	a := header()
	a.Body = &recordv1.Action_SignOff{SignOff: &recordv1.SignOff{
		Job: 7, Submission: 2, ImageSha256: imageSHA,
		Judgement: &recordv1.Judgement{
			Definition: &recordv1.Revision{Name: "turbo four", Sha256: strings.Repeat("34", 32)},
			Limits:     &recordv1.Revision{Name: "98 RON", Sha256: strings.Repeat("56", 32)},
			Fuel:       "98 RON", Numbers: map[string]string{"compressor_wheel": "54.5"}, BaseSha256: strings.Repeat("12", 32),
			ReportSha256: strings.Repeat("78", 32), Verdict: "warning", Warnings: []string{"boost/high"},
		},
		Reason:  "boost < 1.4 bar & held on the rolling road",
		Because: map[string]string{"boost/high": "larger compressor wheel", "axis": "intercooler"},
	}}
	return a
}

func returnAction() *recordv1.Action {
	a := header()
	a.Body = &recordv1.Action_Return{Return: &recordv1.Return{Job: 7, Submission: 2, ImageSha256: imageSHA, Reason: "knock at 4500"}}
	return a
}

func jobAction() *recordv1.Action {
	a := header()
	a.Body = &recordv1.Action_Job{Job: &recordv1.OpenJob{
		Details: &recordv1.JobDetails{
			Plate:      &recordv1.Sealed{Commitment: strings.Repeat("9a", 32)},
			Limits:     &recordv1.Revision{Name: "98 RON", Sha256: strings.Repeat("56", 32)},
			LimitsFuel: []string{"98 RON", "100 RON"},
			Fuel:       "98 RON",
			Parts:      []string{"larger compressor wheel", "intercooler"},
			Numbers:    map[string]string{"max_engine_speed": "7200", "compressor_wheel": "54.5"},
		},
		Definition: &recordv1.Revision{Name: "turbo four", Sha256: strings.Repeat("34", 32)},
	}}
	return a
}

// wrap signs any payload: what a person with a key and a text editor could send.
func wrap(t testing.TB, key ed25519.PrivateKey, payloadType, payload string) []byte {
	t.Helper()
	out, err := json.Marshal(dsse.Envelope{
		PayloadType: payloadType,
		Payload:     base64.StdEncoding.EncodeToString([]byte(payload)),
		Signatures: []dsse.Signature{{
			KeyID: string(signoff.Fingerprint(public(key))),
			Sig:   base64.StdEncoding.EncodeToString(ed25519.Sign(key, dsse.PAE(payloadType, []byte(payload)))),
		}},
	})
	if err != nil {
		t.Fatal(err)
	}
	return out
}

func payloadOf(t testing.TB, envelope []byte) string {
	t.Helper()
	var e dsse.Envelope
	if err := json.Unmarshal(envelope, &e); err != nil {
		t.Fatal(err)
	}
	raw, err := e.DecodeB64Payload()
	if err != nil {
		t.Fatal(err)
	}
	return string(raw)
}

func seal(t testing.TB, a *recordv1.Action) []byte {
	t.Helper()
	out, err := signoff.Seal(a, testKey(t))
	if err != nil {
		t.Fatal(err)
	}
	return out
}

func oneLine(t *testing.T, err error) {
	t.Helper()
	if err != nil && bytes.ContainsAny([]byte(err.Error()), "\n\r") {
		t.Errorf("error of more than one line: %q", err)
	}
}
