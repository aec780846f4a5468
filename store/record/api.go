// Package record is state from entries: Decide says whether an action may become an entry,
// Apply makes it part of the state, Judge says whether an entry that a server admitted was
// rightly admitted. Pure; the server decides with it and the client replays with it.
package record

import (
	"golang.org/x/mod/sumdb/tlog"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/store/signoff"
)

// State is everything the ledger says. The zero State has no genesis yet.
type State struct {
	Genesis       *recordv1.Genesis
	GenesisSHA256 string // hex
	Size          uint64
	Leaves        []tlog.Hash
	Roots         []tlog.Hash // Roots[n] is the root of size n
	// further fields: people, keys, documents, jobs, cars, request ids (yours)
}

// Refusal is why an action may not become an entry. Reason is a stable word, At the field,
// finding key or person at fault, Text one line that says what is wrong and what would be right.
type Refusal struct{ Reason, At, Text, Allowed string }

func (r *Refusal) Error() string { return r.Text }

// Open verifies an envelope against the keys the state knows (current ones; retired keys are refused by Decide).
func (s *State) Open(envelope []byte) (*signoff.Signed, error) { panic("contract only") }

// Decide is nil if the action may become the next entry. It never changes the state.
func Decide(s *State, a *signoff.Signed) error { panic("contract only") }

// Apply adds an entry (its exact bytes). It never refuses what Decide let pass; an entry that cannot
// be parsed, or of an unknown kind, sets s.Unknown and is kept as a leaf only.
func Apply(s *State, entry []byte) { panic("contract only") }

// Judge verifies and decides an entry that a server says it admitted, before Apply: nil, a *Refusal
// (the server admitted what the rules refuse), or ErrUnknownKind ("upgrade").
func Judge(s *State, entry []byte) error { panic("contract only") }
