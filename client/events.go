package client

import (
	"google.golang.org/protobuf/proto"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/store/signoff"
)

// Event is one entry in short: who did what, and both claims of when.
type Event struct {
	Entry                              uint64
	Kind, Person, SignedAt, AdmittedAt string
}

// Events lists every entry of the mirror. People are called by the name that their key has, also
// where it was retired since.
func (c *Client) Events() []Event {
	c.mu.Lock()
	state, entries := c.state, c.entries
	c.mu.Unlock()
	names := map[string]string{}
	out := make([]Event, 0, len(entries))
	for i, raw := range entries {
		e := Event{Entry: uint64(i), Kind: "unknown"}
		var m recordv1.Entry
		if proto.Unmarshal(raw, &m) == nil {
			e.AdmittedAt = m.AdmittedAt
			if g := m.GetGenesis(); g != nil {
				e.Kind, e.Person, e.SignedAt = "genesis", g.LeadName, g.CreatedAt
				note(names, g.LeadKey, g.LeadName)
			} else if s, err := state.Open(m.GetEnvelope()); err == nil {
				e.Kind, e.Person, e.SignedAt = s.Kind, names[s.KeyID], s.Action.GetTime()
				note(names, s.Action.GetEnrol().GetPublicKey(), s.Action.GetEnrol().GetName())
			}
		}
		out = append(out, e)
	}
	return out
}

// note keeps whose key a line is.
func note(names map[string]string, line, name string) {
	if key, err := signoff.ParsePublicKey("key", []byte(line)); err == nil {
		names[signoff.Fingerprint(key)] = name
	}
}
