package record

import (
	"crypto/ed25519"
	"errors"
	"strings"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/store/signoff"
)

// maxEntry bounds an entry: an envelope, and a little around it.
const maxEntry = signoff.MaxEnvelope + 256

// Open verifies an envelope against every key that the state has seen of a person. Retired and
// replaced keys are found too, so that Decide can say what is wrong with them.
func (s *State) Open(envelope []byte) (*signoff.Signed, error) {
	return signoff.Open(envelope, func(id signoff.KeyID) (ed25519.PublicKey, bool) {
		if key, ok := s.opened[id]; ok {
			return key, true
		}
		k, ok := s.key(string(id))
		if !ok || k.GetPerson() == "" {
			return nil, false
		}
		key, err := signoff.ParsePublicKey("key "+string(id), []byte(k.GetPublicKey()))
		if err == nil {
			s.opened[id] = key
		}
		return key, err == nil
	})
}

// Judge opens and decides an entry that a server says it admitted. The error is a *Refusal (the
// server admitted what the rules refuse), ErrUnknownKind ("upgrade"), or the store's.
func Judge(s *State, entry []byte) (*Opened, error) {
	return s.judge(s.Size(), entry)
}

// judgeAt judges an entry that is in the tree already and was never applied.
func (s *State) judgeAt(index uint64, entry []byte) (*Opened, error) {
	size := s.head.GetSize()
	s.head.Size = index // as it was when the entry came
	defer func() { s.head.Size = size }()
	return s.judge(index, entry)
}

func (s *State) judge(index uint64, entry []byte) (*Opened, error) {
	if len(entry) > maxEntry {
		return nil, refuse(ReasonBadEntry, "entry", "", "entry: has %d bytes; allowed: at most %d", len(entry), maxEntry)
	}
	e, err := parseEntry(entry)
	if err != nil {
		return nil, refuse(ReasonBadEntry, "entry", "", "%s", oneLine(err.Error()))
	}
	if err := checkTime("entry.admitted_at", e.GetAdmittedAt()); err != nil {
		return nil, err
	}
	if s.Unapplied() {
		return nil, ErrUnknownKind
	}
	if index == 0 {
		if err := judgeGenesis(e); err != nil {
			return nil, err
		}
		return &Opened{Entry: entry, genesis: e.GetGenesis(), at: e.GetAdmittedAt()}, nil
	}
	if e.GetGenesis() != nil {
		return nil, refuse(ReasonBadEntry, "entry", "an envelope", "entry: is a second genesis; allowed: an envelope")
	}
	signed, err := s.Open(e.GetEnvelope())
	if s.err != nil {
		return nil, s.err
	}
	if errors.Is(err, ErrUnknownKind) {
		return nil, err
	}
	if err != nil {
		return nil, refuse(envelopeReason(err), "envelope", "", "%s", oneLine(err.Error()))
	}
	if err := Decide(s, signed); err != nil {
		return nil, err
	}
	return &Opened{Entry: entry, Signed: signed, at: e.GetAdmittedAt()}, nil
}

// Decided is an entry made of an action that was opened and decided, ready to be applied.
func Decided(signed *signoff.Signed, admittedAt string) *Opened {
	return &Opened{Entry: MakeEntry(signed.Envelope, admittedAt), Signed: signed, at: admittedAt}
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
	g := e.GetGenesis()
	switch {
	case g == nil:
		return refuse(ReasonBadEntry, "entry", "a genesis", "entry: the first one is no genesis; allowed: a genesis")
	case g.GetForm() > signoff.LeastForm:
		return ErrUnknownKind
	case g.GetForm() < signoff.LeastForm:
		return refuse(ReasonBadEntry, "genesis.form", "", "genesis.form: this ledger was made by the first version, which this program cannot read; begin a new one")
	case e.GetAdmittedAt() != g.GetCreatedAt():
		return refuse(ReasonBadEntry, "entry.admitted_at", "created_at", "entry.admitted_at: a genesis is admitted when it is created; allowed: the time in created_at")
	}
	_, _, err := genesisKeys(g)
	return err
}

func oneLine(text string) string { return strings.Join(strings.Fields(text), " ") }
