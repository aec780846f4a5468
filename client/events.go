package client

import (
	"google.golang.org/protobuf/proto"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/store"
	"witnessmark/store/record"
	"witnessmark/store/signoff"
)

// Event is one entry in short: who did what, and both claims of when.
type Event struct {
	Entry                              uint64
	Kind, Person, SignedAt, AdmittedAt string
}

// listed is how many entries are read in one step.
const listed = 500

// Events lists every entry of the copy. People are called by the name that their key has, also
// where it was retired since.
func (c *Client) Events() (out []Event, err error) {
	names := map[signoff.KeyID]string{}
	for more := true; more && err == nil; {
		err = c.own.view(func(tx store.ReadTx) error {
			s := record.Read(tx)
			end := min(uint64(len(out)+listed), s.Size())
			more = end < s.Size()
			for i := uint64(len(out)); i < end; i++ {
				entry, err := tx.Entry(i)
				if err != nil {
					return err
				}
				out = append(out, eventOf(s, i, entry, names))
			}
			return s.Err()
		})
	}
	return out, err
}

func eventOf(s *record.State, i uint64, entry []byte, names map[signoff.KeyID]string) Event {
	e := Event{Entry: i, Kind: "unknown"}
	var m recordv1.Entry
	if proto.Unmarshal(entry, &m) != nil {
		return e
	}
	e.AdmittedAt = m.GetAdmittedAt()
	if g := m.GetGenesis(); g != nil {
		e.Kind, e.Person, e.SignedAt = "genesis", g.GetLeadName(), g.GetCreatedAt()
		note(names, g.GetLeadKey(), g.GetLeadName())
	} else if a, err := s.Open(m.GetEnvelope()); err == nil {
		e.Kind, e.Person, e.SignedAt = a.Kind, names[a.KeyID], a.Action.GetTime()
		note(names, a.Action.GetEnrol().GetPublicKey(), a.Action.GetEnrol().GetName())
	}
	return e
}

// note keeps whose key a line is.
func note(names map[signoff.KeyID]string, line, name string) {
	if key, err := signoff.ParsePublicKey("key", []byte(line)); err == nil {
		names[signoff.Fingerprint(key)] = name
	}
}
