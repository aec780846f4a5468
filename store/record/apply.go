package record

import (
	"crypto/ed25519"

	"google.golang.org/protobuf/proto"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/store/signoff"
)

// Apply adds an entry (its exact bytes). It never refuses what Decide let pass; an entry that cannot
// be opened, or of an unknown kind, sets s.Unknown and is kept as a leaf only.
func Apply(s *State, entry []byte) {
	e, err := parseEntry(entry)
	var signed *signoff.Signed
	if err == nil && s.Size > 0 {
		signed, err = s.Open(e.GetEnvelope())
	}
	index := s.grow(entry)
	if err != nil || (index == 0) != (e.GetGenesis() != nil) {
		s.Unknown = true
		return
	}
	s.apply(index, entry, e, signed)
}

// apply changes the state by an entry whose leaf is there already. Whatever it meets that Decide
// would have refused it leaves alone.
func (s *State) apply(index uint64, entry []byte, e *recordv1.Entry, signed *signoff.Signed) {
	if index == 0 {
		s.applyGenesis(entry, e)
		return
	}
	kind := signoff.Kind(signed.Action)
	change, known := changes[kind]
	use := s.keys[signed.KeyID]
	if !known || use.person == "" {
		s.Unknown = true
		return
	}
	if id := signed.Action.GetRequestId(); s.requests[id] == (request{}) {
		s.requests[id] = request{index: index, sha256: hexSHA256(signed.Envelope)}
	}
	change(s, &applied{
		action: signed.Action,
		keyID:  signed.KeyID,
		entry:  index,
		event: &recordv1.Event{
			Entry: uint32(index), Kind: kind, Person: use.person,
			SignedAt: signed.Action.GetTime(), AdmittedAt: e.GetAdmittedAt(),
		},
	})
}

// applied is an entry as the changes see it.
type applied struct {
	action *recordv1.Action
	keyID  string
	entry  uint64
	event  *recordv1.Event
}

// changes are what each kind does to the state.
var changes = map[string]func(*State, *applied){
	kindEnrol:      (*State).applyEnrol,
	kindRetire:     (*State).applyRetire,
	kindDefinition: (*State).applyDocument,
	kindLimits:     (*State).applyDocument,
	kindJob:        (*State).applyJob,
	kindRead:       (*State).applyRead,
	kindSubmission: (*State).applySubmission,
	kindSignOff:    (*State).applySignOff,
	kindReturn:     (*State).applyReturn,
	kindWithdraw:   (*State).applyWithdraw,
	kindCollect:    (*State).applyCollect,
	kindReadBack:   (*State).applyReadBack,
	kindRun:        (*State).applyRun,
	kindServerKey:  (*State).applyServerKey,
}

func (s *State) applyGenesis(entry []byte, e *recordv1.Entry) {
	g := e.GetGenesis()
	server, leadKey, err := genesisKeys(g)
	if err != nil {
		s.Unknown = true
		return
	}
	s.init()
	s.Genesis = proto.CloneOf(g)
	s.GenesisSHA256 = hexSHA256(entry)
	s.setServerKey(server, 0)
	s.setPerson(g.GetLeadName(), []string{lead}, leadKey, &recordv1.Event{
		Kind: "genesis", Person: g.GetLeadName(), SignedAt: g.GetCreatedAt(), AdmittedAt: e.GetAdmittedAt(),
	})
}

func (s *State) setServerKey(key ed25519.PublicKey, entry uint64) {
	s.serverKey, s.serverEntry = key, entry
	s.keys[signoff.Fingerprint(key)] = keyUse{key: key}
}

func (s *State) setPerson(name string, roles []string, key ed25519.PublicKey, event *recordv1.Event) {
	p := s.people[fold(name)]
	if p == nil {
		p = &person{}
		s.people[fold(name)] = p
		s.roster = append(s.roster, p)
	}
	id := signoff.Fingerprint(key)
	p.key, p.entry = key, uint64(event.GetEntry())
	p.msg = &recordv1.Person{
		Name: name, Roles: sortRoles(roles), PublicKey: signoff.FormatPublicKey(key), KeyFingerprint: id, Enrolled: event,
	}
	s.keys[id] = keyUse{key: key, person: name}
}

func (s *State) applyEnrol(a *applied) {
	e := a.action.GetEnrol()
	key, err := parseKey("enrol.public_key", e.GetPublicKey())
	if err != nil {
		return
	}
	s.setPerson(e.GetName(), e.GetRoles(), key, a.event)
}

func (s *State) applyRetire(a *applied) {
	p, err := s.personNamed("retire.name", a.action.GetRetire().GetName())
	if err != nil {
		return
	}
	p.entry = a.entry
	p.msg.Retired = true
	p.msg.Compromised = a.action.GetRetire().GetCompromised()
	if p.msg.Compromised {
		s.void(p.msg.GetKeyFingerprint(), a)
	}
}

// void takes back what a key signed, as far as it was not collected. Such a submission waits
// again, or was replaced if a newer one came: it never was released after all.
func (s *State) void(keyID string, a *applied) {
	for _, sub := range s.signedWith[keyID] {
		if sub.signKey != keyID || sub.collected || !sub.isReleased() {
			continue
		}
		sub.msg.Voided = true
		sub.msg.State = waiting
		if len(sub.job.subs) > int(sub.msg.GetNumber()) {
			sub.msg.State = replaced
		}
		if sub.job.release == sub.msg.GetNumber() {
			sub.job.release = 0
		}
		sub.happened(a, "sign-off of "+sub.id()+" voided: its key was compromised", "")
	}
}

func (s *State) applyDocument(a *applied) {
	shelf := s.documents[signoff.Kind(a.action)]
	r := addedRevision(a.action)
	doc := &recordv1.Document{
		Name: r.GetName(), Sha256: r.GetSha256(), Revision: shelf.newest[r.GetName()].GetRevision() + 1, Added: a.event,
	}
	shelf.all = append(shelf.all, doc)
	shelf.newest[doc.GetName()] = doc
	shelf.bySHA[doc.GetSha256()] = doc
}

func (s *State) applyServerKey(a *applied) {
	key, err := parseKey("server_key.public_key", a.action.GetServerKey().GetPublicKey())
	if err != nil {
		return
	}
	s.setServerKey(key, a.entry)
}
