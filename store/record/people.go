package record

import (
	"crypto/ed25519"
	"fmt"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/store/signoff"
)

// key finds whose a key is or was.
func (s *State) key(id string) (*recordv1.Key, bool) {
	k := &recordv1.Key{}
	ok := s.get(docKey, id, k)
	return k, ok
}

// OwnerOf is whose a key is or was; empty where nobody had it.
func (s *State) OwnerOf(id signoff.KeyID) string {
	k, _ := s.key(string(id))
	return k.GetPerson()
}

// Person finds somebody by name, retired or not.
func (s *State) Person(name string) (*recordv1.Person, bool) {
	p, ok := s.known(name)
	return p, ok && p.GetName() == name
}

// known finds who has a name like this one.
func (s *State) known(name string) (*recordv1.Person, bool) {
	p := &recordv1.Person{}
	ok := s.get(docPerson, signoff.FoldName(name), p)
	return p, ok
}

// PersonByKey finds whose current key this is; retired people have none.
func (s *State) PersonByKey(id signoff.KeyID) (*recordv1.Person, bool) {
	k, ok := s.key(string(id))
	if !ok || k.GetPerson() == "" {
		return nil, false
	}
	p, ok := s.Person(k.GetPerson())
	if !ok || p.GetRetired() || p.GetKeyId() != string(id) {
		return nil, false
	}
	return p, true
}

// KeyEnded says why a key is nobody's now: whose it was, and who ended that and when. Empty of one that is in
// use, and of one that nobody ever had.
func (s *State) KeyEnded(id signoff.KeyID) string {
	if _, current := s.PersonByKey(id); current {
		return ""
	}
	p, ok := s.Person(s.OwnerOf(id))
	if !ok || p.GetName() == "" {
		return ""
	}
	by, at := s.enteredBy(uint64(p.GetLatest()))
	if p.GetRetired() {
		return fmt.Sprintf("%s was retired by %s at %s (entry %d)", p.GetName(), by, at, p.GetLatest())
	}
	return fmt.Sprintf("the key of %s was replaced with %s by %s at %s (entry %d)", p.GetName(), p.GetKeyId(), by, at, p.GetLatest())
}

// enteredBy is who signed an entry, and when it was admitted.
func (s *State) enteredBy(index uint64) (person, at string) {
	entry, err := s.tx.Entry(index)
	s.fail(err)
	envelope, at, err := EnvelopeOf(entry)
	if err != nil || envelope == nil {
		return "", at
	}
	signed, err := s.Open(envelope)
	if err != nil {
		return "", at
	}
	return s.OwnerOf(signed.KeyID), at
}

// People are all who were ever enrolled, by name.
func (s *State) People() (out []*recordv1.Person) {
	s.scan(docPerson, "", "", func(key string, value []byte) bool {
		p := &recordv1.Person{}
		if s.decode(docPerson, key, value, p) {
			out = append(out, p)
		}
		return true
	})
	return out
}

func (s *State) setPerson(name string, roles []string, key ed25519.PublicKey, event *recordv1.Event) {
	p, again := s.known(name)
	id := string(signoff.Fingerprint(key))
	p.Name, p.Roles, p.PublicKey, p.KeyId = name, sortRoles(roles), signoff.FormatPublicKey(key), id
	if !again {
		p.Enrolled = event
	}
	p.Latest = event.GetEntry()
	s.putPerson(p)
	s.put(docKey, id, &recordv1.Key{PublicKey: p.GetPublicKey(), Person: name})
}

func (s *State) putPerson(p *recordv1.Person) {
	s.put(docPerson, signoff.FoldName(p.GetName()), p)
	s.putText(docPersonAt, join(p.GetLatest()), "")
}

// AboutPeople are the entries that enrolled or retired somebody, in order; the genesis is one.
func (s *State) AboutPeople() (entries []uint64) {
	for _, key := range s.keys(docPersonAt, "") {
		entries = append(entries, uint64(number(key)))
	}
	return entries
}

// sortRoles puts roles in the order in which they are always shown.
func sortRoles(roles []string) []string {
	var out []string
	for _, r := range Roles {
		if name := signoff.RoleName(r); contains(roles, name) {
			out = append(out, name)
		}
	}
	return out
}

// leads counts the people who hold the role now.
func (s *State) leads() (n int) {
	for _, p := range s.People() {
		if has(p, lead) && !p.GetRetired() {
			n++
		}
	}
	return n
}

// nameEntry is the last entry about a name; entry 0 for a new one.
func (s *State) nameEntry(name string) uint64 {
	p, _ := s.known(name)
	return uint64(p.GetLatest())
}

func (s *State) personNamed(at, name string) (*recordv1.Person, error) {
	if p, ok := s.Person(name); ok {
		return p, nil
	}
	return nil, refuse(ReasonNotFound, at, "", "%s: nobody called %q is enrolled", at, short(name))
}
