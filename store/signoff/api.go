// Package signoff is what people sign and by what: DSSE envelopes over strict JSON actions, in-toto
// Statements for sign-offs and returns, Ed25519 keys in OpenSSH form, names, roles and sealed texts.
// Pure: no clock and no I/O. What is verified is the bytes as received; nothing is encoded again.
package signoff

import (
	"crypto/ed25519"
	"errors"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
)

// Forms of actions. A genesis is of LeastForm, and so is an action that sets no field which came with a
// later form; the highest that this program knows is Form, and a higher one asks for an upgrade.
const (
	LeastForm = 2
	Form      = 4 // 3: definition_carried of a job; 4: corridors, and what was in the car at a run
)

// FormOf is the form in which an action is written: the least one that has all that it sets.
func FormOf(a *recordv1.Action) uint32 {
	switch {
	case a.GetCorridor() != nil, a.GetCorridorClose() != nil, a.GetSubmission().GetCorridor() != nil, a.GetRun().GetOf() != "":
		return 4
	case a.GetJob().GetDefinitionCarried():
		return 3
	}
	return LeastForm
}

// Payload types of an envelope.
const (
	ActionType    = "application/vnd.witnessmark.action+json"
	StatementType = "application/vnd.in-toto+json"
)

// Predicate types of the two kinds that travel as in-toto Statements.
const (
	SignOffPredicate = "urn:witnessmark:sign-off:v2"
	ReturnPredicate  = "urn:witnessmark:return:v2"
)

// MaxEnvelope is the most bytes that an envelope may have.
const MaxEnvelope = 1 << 20

// Errors that callers may ask for with errors.Is.
var (
	// ErrUnknownKind is a well-signed action of a kind or form that this version does not know: upgrade.
	ErrUnknownKind = errors.New("action of an unknown kind")
	// ErrUnknownKey is an envelope whose key id nobody holds.
	ErrUnknownKey = errors.New("no such key")
	// ErrSignature is an envelope whose signature does not fit its payload and key.
	ErrSignature = errors.New("signature does not fit")
	// ErrForm is an envelope, statement or action that is not in its strict form.
	ErrForm = errors.New("not in its strict form")
	// ErrKey is a key that is not a usable ssh-ed25519 one.
	ErrKey = errors.New("not a usable key")
	// ErrPassphrase is a passphrase that does not open the private key.
	ErrPassphrase = errors.New("wrong passphrase")
	// ErrName is what cannot be a person's name.
	ErrName = errors.New("not a name")
	// ErrOpening is an opening that is not that of its commitment.
	ErrOpening = errors.New("opening does not fit")
)

// KeyID is a key's fingerprint, SHA256:… as ssh-keygen prints it.
type KeyID string

// Signed is an opened envelope: its signer's key, the action, and the bytes as received.
type Signed struct {
	Key      ed25519.PublicKey
	KeyID    KeyID
	Action   *recordv1.Action
	Kind     string // the name of the action's body field: "enrol", "sign_off", …
	Envelope []byte
}

// Kind is the name of the action's body field, or "" where it has none.
func Kind(a *recordv1.Action) string {
	m := a.ProtoReflect()
	field := m.WhichOneof(bodyOneof)
	if field == nil {
		return ""
	}
	return string(field.Name())
}
