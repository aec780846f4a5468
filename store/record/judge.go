package record

import (
	"errors"
	"fmt"
	"strings"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/store/signoff"
)

// maxEntry bounds an entry: an envelope, and a little around it.
const maxEntry = signoff.MaxEnvelope + 256

// Judge verifies and decides an entry that a server says it admitted, before Apply: nil, a *Refusal
// (the server admitted what the rules refuse), or ErrUnknownKind ("upgrade").
func Judge(s *State, entry []byte) error {
	_, _, err := s.judge(entry)
	return err
}

// Admit is Judge and, if it has nothing against the entry, Apply, at the price of one signature check.
// The answer is the opened envelope; nil for the genesis, which has none.
func Admit(s *State, entry []byte) (*signoff.Signed, error) {
	e, signed, err := s.judge(entry)
	if err != nil {
		return nil, err
	}
	s.apply(s.grow(entry), entry, e, signed)
	return signed, nil
}

// Replay is Judge and Apply over all entries from the genesis on. A *Refusal stops it, and the
// error says at which entry. At an entry of an unknown kind it goes on without judging, for
// looking only, and returns the state with ErrUnknownKind.
func Replay(entries [][]byte) (*State, error) {
	s := &State{}
	var unknown error
	for i, entry := range entries {
		if unknown != nil {
			Apply(s, entry)
			continue
		}
		_, err := Admit(s, entry)
		switch {
		case errors.Is(err, ErrUnknownKind):
			unknown = fmt.Errorf("entry %d: %w", i, err)
			Apply(s, entry)
		case err != nil:
			return nil, fmt.Errorf("entry %d: %w", i, err)
		}
	}
	return s, unknown
}

func (s *State) judge(entry []byte) (*recordv1.Entry, *signoff.Signed, error) {
	if s.Unknown {
		return nil, nil, ErrUnknownKind
	}
	if len(entry) > maxEntry {
		return nil, nil, refuse(ReasonBadEntry, "entry", "", "entry: has %d bytes; allowed: at most %d", len(entry), maxEntry)
	}
	e, err := parseEntry(entry)
	if err != nil {
		return nil, nil, refuse(ReasonBadEntry, "entry", "", "%s", oneLine(err.Error()))
	}
	if err := checkTime("entry.admitted_at", e.GetAdmittedAt()); err != nil {
		return nil, nil, err
	}
	if s.Size == 0 {
		return e, nil, judgeGenesis(e)
	}
	if e.GetGenesis() != nil {
		return nil, nil, refuse(ReasonBadEntry, "entry", "an envelope", "entry: is a second genesis; allowed: an envelope")
	}
	signed, err := s.Open(e.GetEnvelope())
	if errors.Is(err, ErrUnknownKind) {
		return nil, nil, err
	}
	if err != nil {
		return nil, nil, refuse(envelopeReason(err), "envelope", "", "%s", oneLine(err.Error()))
	}
	return e, signed, Decide(s, signed)
}

// envelopeReason is the stable word for why an envelope could not be opened.
func envelopeReason(err error) string {
	switch {
	case errors.Is(err, signoff.ErrUnknownKey):
		return ReasonUnknownKey
	case errors.Is(err, signoff.ErrSignature):
		return ReasonBadSignature
	}
	return ReasonBadEnvelope
}

func judgeGenesis(e *recordv1.Entry) error {
	if e.GetGenesis() == nil {
		return refuse(ReasonBadEntry, "entry", "a genesis", "entry: the first one is no genesis; allowed: a genesis")
	}
	if e.GetAdmittedAt() != e.GetGenesis().GetCreatedAt() {
		return refuse(ReasonBadEntry, "entry.admitted_at", "created_at", "entry.admitted_at: a genesis is admitted when it is created; allowed: the time in created_at")
	}
	_, _, err := genesisKeys(e.GetGenesis())
	return err
}

func oneLine(text string) string { return strings.Join(strings.Fields(text), " ") }
