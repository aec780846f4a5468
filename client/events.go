package client

import (
	"cmp"

	"google.golang.org/protobuf/proto"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/store"
	"witnessmark/store/record"
)

// Event is one entry in short: who did what, and both claims of when.
type Event struct {
	Entry                              uint64
	Kind, Person, SignedAt, AdmittedAt string
	// Of is the job, or what of it the entry is about; About is its name, or that of a person or a file.
	Of    record.Name
	About string
	Plate string // of the job; "erased" where it was
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
		e.Of, e.About = s.Made(i, a.Action), namedBy(a.Action)
		if e.Of.Job != 0 {
			e.About, e.Plate = e.Of.String(), plateOf(s.Plate(e.Of.Job))
		}
	}
	return e
}

// plateOf is a plate as lists show it.
func plateOf(t *recordv1.Text) string {
	if t.GetErased() {
		return "erased"
	}
	return t.GetText()
}

// namedBy is the person or the file that an action is about.
func namedBy(a *recordv1.Action) string {
	return cmp.Or(a.GetEnrol().GetName(), a.GetRetire().GetName(), a.GetDefinition().GetRevision().GetName(), a.GetLimits().GetRevision().GetName())
}
