package client

import (
	"google.golang.org/protobuf/proto"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/store"
	"witnessmark/store/record"
)

// Event is one entry in short: who did what, and both claims of when.
type Event struct {
	Entry                              uint64
	Kind, Person, SignedAt, AdmittedAt string
}

// listed is how many entries are read in one step.
const listed = 500

// Events visits the copy's entries below an index, 0 for all, newest first. visit must not call the client.
func (c *Client) Events(before uint64, visit func(Event) (more bool)) (err error) {
	for more := true; more && err == nil; {
		err = c.own.view(func(tx store.ReadTx) error {
			s := record.Read(tx)
			if before == 0 || before > s.Size() {
				before = s.Size()
			}
			for end := before - min(before, listed); more && before > end; {
				before--
				entry, err := tx.Entry(before)
				if err != nil {
					return err
				}
				more = visit(eventOf(s, before, entry))
			}
			more = more && before > 0
			return s.Err()
		})
	}
	return err
}

// eventOf calls people by the name that their key has, also where it was retired since.
func eventOf(s *record.State, i uint64, entry []byte) Event {
	e := Event{Entry: i, Kind: "unknown"}
	var m recordv1.Entry
	if proto.Unmarshal(entry, &m) != nil {
		return e
	}
	e.AdmittedAt = m.GetAdmittedAt()
	if g := m.GetGenesis(); g != nil {
		e.Kind, e.Person, e.SignedAt = "genesis", g.GetLeadName(), g.GetCreatedAt()
	} else if a, err := s.Open(m.GetEnvelope()); err == nil {
		e.Kind, e.Person, e.SignedAt = a.Kind, s.OwnerOf(a.KeyID), a.Action.GetTime()
	}
	return e
}
