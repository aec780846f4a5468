package record

import (
	"bytes"
	"crypto/ed25519"
	"errors"
	"fmt"

	"google.golang.org/protobuf/encoding/protowire"
	"google.golang.org/protobuf/proto"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/store/signoff"
)

// Field numbers of Entry and Genesis, whose bytes are hashed.
const (
	fieldGenesis, fieldEnvelope, fieldAdmittedAt = 1, 2, 3

	fieldServerKey, fieldLeadName, fieldLeadKey, fieldOnePerson = 1, 2, 3, 4
	fieldCreatedAt, fieldSalt, fieldForm, fieldContinues        = 5, 6, 7, 8

	fieldOldGenesis, fieldOldSize, fieldOldRoot = 1, 2, 3
)

// MakeEntry is the entry of an envelope. Its bytes are a function of what it is given: they are
// written here field by field, since no protobuf library promises the same bytes in its next version.
func MakeEntry(envelope []byte, admittedAt string) []byte {
	b := protowire.AppendTag(nil, fieldEnvelope, protowire.BytesType)
	b = protowire.AppendBytes(b, envelope)
	return appendString(b, fieldAdmittedAt, admittedAt)
}

// NewGenesis is entry 0 and the SHA-256 (hex) that clients pin. Of g, everything but the form is the
// caller's; Judge tells whether all of it is well formed.
func NewGenesis(g *recordv1.Genesis) (entry []byte, sha256 string) {
	g.Form = signoff.LeastForm
	entry = encodeGenesis(g, g.GetCreatedAt())
	return entry, hexSHA256(entry)
}

func encodeGenesis(g *recordv1.Genesis, admittedAt string) []byte {
	in := appendString(nil, fieldServerKey, g.GetServerKey())
	in = appendString(in, fieldLeadName, g.GetLeadName())
	in = appendString(in, fieldLeadKey, g.GetLeadKey())
	one := uint64(0)
	if g.GetOnePerson() {
		one = 1
	}
	in = appendNumber(in, fieldOnePerson, one)
	in = appendString(in, fieldCreatedAt, g.GetCreatedAt())
	in = appendString(in, fieldSalt, g.GetSalt())
	in = appendNumber(in, fieldForm, uint64(g.GetForm()))
	if old := g.GetContinues(); old != nil {
		inner := appendString(nil, fieldOldGenesis, old.GetGenesis())
		inner = appendNumber(inner, fieldOldSize, old.GetSize())
		inner = appendString(inner, fieldOldRoot, old.GetRoot())
		in = protowire.AppendTag(in, fieldContinues, protowire.BytesType)
		in = protowire.AppendBytes(in, inner)
	}
	b := protowire.AppendTag(nil, fieldGenesis, protowire.BytesType)
	b = protowire.AppendBytes(b, in)
	return appendString(b, fieldAdmittedAt, admittedAt)
}

func appendNumber(b []byte, field protowire.Number, n uint64) []byte {
	if n == 0 {
		return b
	}
	b = protowire.AppendTag(b, field, protowire.VarintType)
	return protowire.AppendVarint(b, n)
}

func appendString(b []byte, field protowire.Number, s string) []byte {
	if s == "" {
		return b
	}
	b = protowire.AppendTag(b, field, protowire.BytesType)
	return protowire.AppendString(b, s)
}

// parseEntry accepts exactly what MakeEntry and NewGenesis write.
func parseEntry(entry []byte) (*recordv1.Entry, error) {
	e := &recordv1.Entry{}
	if err := proto.Unmarshal(entry, e); err != nil {
		return nil, fmt.Errorf("entry: %w", err)
	}
	var again []byte
	switch e.GetContent().(type) {
	case *recordv1.Entry_Genesis:
		again = encodeGenesis(e.GetGenesis(), e.GetAdmittedAt())
	case *recordv1.Entry_Envelope:
		again = MakeEntry(e.GetEnvelope(), e.GetAdmittedAt())
	default:
		return nil, fmt.Errorf("entry: holds neither an envelope nor a genesis")
	}
	if !bytes.Equal(again, entry) {
		return nil, fmt.Errorf("entry: has an unknown field, or its fields are not written in their one way")
	}
	return e, nil
}

// EnvelopeOf is the envelope in an entry, and when the server says it was admitted; nil and no
// error for a genesis.
func EnvelopeOf(entry []byte) (envelope []byte, admittedAt string, err error) {
	e, err := parseEntry(entry)
	if err != nil {
		return nil, "", err
	}
	return e.GetEnvelope(), e.GetAdmittedAt(), nil
}

// genesisKeys checks entry 0 and gives its two keys.
func genesisKeys(g *recordv1.Genesis) (server, lead ed25519.PublicKey, err error) {
	server, err = parseKey("genesis.server_key", g.GetServerKey())
	if err != nil {
		return nil, nil, err
	}
	lead, err = parseKey("genesis.lead_key", g.GetLeadKey())
	if err != nil {
		return nil, nil, err
	}
	if server.Equal(lead) {
		return nil, nil, refuse(ReasonKeyUsed, "genesis.lead_key", "", "genesis.lead_key: is the server's key; allowed: a key of the lead's own")
	}
	if err := signoff.CheckName(g.GetLeadName()); err != nil {
		return nil, nil, refuse(ReasonBadValue, "genesis.lead_name", "", "genesis.lead_name: %s", oneLine(err.Error()))
	}
	if err := checkTime("genesis.created_at", g.GetCreatedAt()); err != nil {
		return nil, nil, err
	}
	if n := len(g.GetSalt()); !isHex(g.GetSalt()) || n < 16 || n > 64 {
		return nil, nil, badValue("genesis.salt", "16 to 64 lower-case hex digits", "has %d characters", n)
	}
	if old := g.GetContinues(); old != nil {
		if err := errors.Join(checkHash("genesis.continues.genesis", old.GetGenesis()), checkHash("genesis.continues.root", old.GetRoot())); err != nil {
			return nil, nil, refuse(ReasonBadValue, "genesis.continues", "", "%s", oneLine(err.Error()))
		}
	}
	return server, lead, nil
}

// parseKey reads a key and wants it written in the one way that FormatPublicKey writes it.
func parseKey(at, line string) (ed25519.PublicKey, error) {
	key, err := signoff.ParsePublicKey(at, []byte(line))
	if err != nil {
		return nil, refuse(ReasonBadValue, at, "one ssh-ed25519 line", "%s", oneLine(err.Error()))
	}
	if signoff.FormatPublicKey(key) != line {
		return nil, badValue(at, "one ssh-ed25519 line without comment", "%q has more in it than the key", short(line))
	}
	return key, nil
}
