// Package signoff is envelopes, statements and keys: DSSE envelopes over strict JSON actions,
// in-toto Statements for sign-offs and returns, Ed25519 keys in OpenSSH form. Pure.
package signoff

import (
	"crypto"
	"crypto/ed25519"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
)

// Payload types of an envelope.
const (
	ActionType    = "application/vnd.witnessmark.action+json"
	StatementType = "application/vnd.in-toto+json"
)

// Signed is an opened envelope: its signer's key, the action, and the bytes as received.
type Signed struct {
	Key      ed25519.PublicKey
	KeyID    string // SHA256:… fingerprint as ssh-keygen prints it
	Action   *recordv1.Action
	Kind     string // the name of the action's body field: "enrol", "sign_off", …
	Envelope []byte
}

// Seal signs an action: a plain action, or (sign_off, return) an in-toto Statement with the
// submitted image as its subject and the action as its predicate. signer's public key is Ed25519
// (crypto/ed25519 or an agent's key).
func Seal(a *recordv1.Action, signer crypto.Signer) (envelope []byte, err error) {
	panic("contract only")
}

// Open parses an envelope strictly and verifies its one signature by the key that keys finds for
// the key id. An action of an unknown kind is ErrUnknownKind.
func Open(envelope []byte, keys func(keyID string) (ed25519.PublicKey, bool)) (*Signed, error) {
	panic("contract only")
}

// Fingerprint is the SHA256:… form of a key; Fingerprint of a hash is the same form of a genesis.
func Fingerprint(key ed25519.PublicKey) string { panic("contract only") }
func HashFingerprint(sha256 [32]byte) string   { panic("contract only") }

// ParsePublicKey reads one OpenSSH public key line; anything but ssh-ed25519 is refused in one line.
func ParsePublicKey(name string, line []byte) (ed25519.PublicKey, error) { panic("contract only") }

// FormatPublicKey is the OpenSSH line without a comment.
func FormatPublicKey(key ed25519.PublicKey) string { panic("contract only") }

// ParsePrivateKey reads an OpenSSH private key; passphrase is asked only if the file has one.
func ParsePrivateKey(name string, file []byte, passphrase func() ([]byte, error)) (ed25519.PrivateKey, error) {
	panic("contract only")
}

// MarshalPrivateKey writes an OpenSSH private key, encrypted if there is a passphrase.
func MarshalPrivateKey(key ed25519.PrivateKey, comment string, passphrase []byte) ([]byte, error) {
	panic("contract only")
}
