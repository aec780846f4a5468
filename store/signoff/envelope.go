package signoff

import (
	"bytes"
	"crypto"
	"crypto/ed25519"
	"crypto/rand"
	"encoding/base64"
	"encoding/json"
	"errors"
	"fmt"
	"strings"

	"github.com/secure-systems-lab/go-securesystemslib/dsse"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
)

// Seal signs an action: a plain action, or (sign_off, return) an in-toto Statement with the
// submitted image as its subject and the action as its predicate. An action without a form gets this
// program's. signer's public key is Ed25519 (crypto/ed25519 or an agent's key). What Seal makes, Open accepts.
func Seal(a *recordv1.Action, signer crypto.Signer) (envelope []byte, err error) {
	key, ok := signer.Public().(ed25519.PublicKey)
	if !ok || len(key) != ed25519.PublicKeySize {
		return nil, fmt.Errorf("seal: a key of type %T: %w, only ssh-ed25519 signs", signer.Public(), ErrKey)
	}
	payloadType, payload, err := encodePayload(a)
	if err != nil {
		return nil, fmt.Errorf("seal: %w", err)
	}
	pae := dsse.PAE(payloadType, payload)
	sig, err := signer.Sign(rand.Reader, pae, crypto.Hash(0))
	if err != nil {
		return nil, fmt.Errorf("seal: %w", err)
	}
	// An agent is another program: what it answers is checked before anyone relies on it.
	if !ed25519.Verify(key, pae, sig) {
		return nil, fmt.Errorf("seal: the signer's %w", ErrSignature)
	}
	envelope, err = json.Marshal(dsse.Envelope{
		PayloadType: payloadType,
		Payload:     base64.StdEncoding.EncodeToString(payload),
		Signatures:  []dsse.Signature{{KeyID: string(Fingerprint(key)), Sig: base64.StdEncoding.EncodeToString(sig)}},
	})
	if err != nil {
		return nil, fmt.Errorf("seal: %w", err)
	}
	if len(envelope) > MaxEnvelope {
		return nil, fmt.Errorf("seal: envelope of %d bytes, at most %d are allowed", len(envelope), MaxEnvelope)
	}
	return envelope, nil
}

// Open parses an envelope strictly and verifies its one signature by the key that keys finds for
// the key id. An action of an unknown kind or a higher form is ErrUnknownKind, and only if its
// signature holds; other errors are ErrForm, ErrUnknownKey or ErrSignature.
func Open(envelope []byte, keys func(KeyID) (ed25519.PublicKey, bool)) (*Signed, error) {
	parsed, err := parseEnvelope(envelope)
	if err != nil {
		return nil, err
	}
	key, ok := keys(parsed.keyID)
	if !ok {
		return nil, fmt.Errorf("envelope: key %s: %w", parsed.keyID, ErrUnknownKey)
	}
	if len(key) != ed25519.PublicKeySize || Fingerprint(key) != parsed.keyID {
		return nil, fmt.Errorf("envelope: key id %s is another key's: %w", parsed.keyID, ErrUnknownKey)
	}
	if !ed25519.Verify(key, dsse.PAE(parsed.payloadType, parsed.payload), parsed.sig) {
		return nil, fmt.Errorf("envelope: key %s: %w", parsed.keyID, ErrSignature)
	}
	action, err := decodePayload(parsed.payloadType, parsed.payload)
	if err != nil {
		return nil, err
	}
	return &Signed{
		Key:      bytes.Clone(key),
		KeyID:    parsed.keyID,
		Action:   action,
		Kind:     Kind(action),
		Envelope: bytes.Clone(envelope),
	}, nil
}

// parsedEnvelope is an envelope's parts, decoded and not yet verified.
type parsedEnvelope struct {
	payloadType  string
	keyID        KeyID
	payload, sig []byte
}

func parseEnvelope(raw []byte) (parsedEnvelope, error) {
	if len(raw) > MaxEnvelope {
		return parsedEnvelope{}, fmt.Errorf("envelope of %d bytes, at most %d are allowed: %w", len(raw), MaxEnvelope, ErrForm)
	}
	var e parsedEnvelope
	signatures := 0
	err := readAll("envelope", raw, func(r *reader) error {
		return r.whole(func(name string) error {
			switch name {
			case "payloadType":
				return r.text(&e.payloadType)
			case "payload":
				return r.base64(&e.payload)
			}
			return r.list(func() error {
				signatures++
				return r.whole(func(name string) error {
					if name == "sig" {
						return r.base64(&e.sig)
					}
					return r.text((*string)(&e.keyID))
				}, "keyid", "sig")
			})
		}, "payloadType", "payload", "signatures")
	})
	switch {
	case err != nil:
		return parsedEnvelope{}, err
	case signatures != 1:
		return parsedEnvelope{}, formError("envelope.signatures", "%d signatures, exactly one is allowed", signatures)
	case !validFingerprint(string(e.keyID)):
		return parsedEnvelope{}, formError("envelope.signatures[0].keyid", "%q, a SHA256: fingerprint is allowed", clip(string(e.keyID)))
	case len(e.sig) != ed25519.SignatureSize:
		return parsedEnvelope{}, formError("envelope.signatures[0].sig", "%d bytes, an Ed25519 signature has %d", len(e.sig), ed25519.SignatureSize)
	}
	return e, nil
}

func (r *reader) base64(into *[]byte) error {
	var text string
	if err := r.text(&text); err != nil {
		return err
	}
	var err error
	if *into, err = strictBase64(text); err != nil {
		return r.bad("%v", err)
	}
	return nil
}

// strictBase64 takes standard base64 with padding, and none of the line ends that the decoder skips.
func strictBase64(text string) ([]byte, error) {
	if strings.ContainsAny(text, "\r\n") {
		return nil, errors.New("base64 with a line end, none is allowed")
	}
	return base64.StdEncoding.Strict().DecodeString(text)
}

func formError(at, format string, args ...any) error {
	return fmt.Errorf("%s: %s: %w", at, fmt.Sprintf(format, args...), ErrForm)
}

// clip keeps a foreign text short enough for one line.
func clip(s string) string {
	const most = 60
	if len(s) > most {
		return strings.ToValidUTF8(s[:most], "") + "…"
	}
	return s
}
