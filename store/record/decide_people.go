package record

import (
	"strings"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/store/signoff"
)

// fold makes names that differ in case alone the same name.
func fold(name string) string { return strings.ToLower(name) }

func (d *decision) enrol() error {
	e := d.action.GetEnrol()
	if err := checkLine("enrol.name", e.GetName(), maxName); err != nil {
		return err
	}
	if err := checkRoles(e.GetRoles()); err != nil {
		return err
	}
	key, err := parseKey("enrol.public_key", e.GetPublicKey())
	if err != nil {
		return err
	}
	id := signoff.Fingerprint(key)
	known := d.people[fold(e.GetName())]
	if use, used := d.keys[id]; used {
		if known == nil || use.person != known.msg.GetName() || known.msg.GetKeyFingerprint() != id {
			return refuse(ReasonKeyUsed, "enrol.public_key", "", "enrol.public_key: %s is or was the key of %s; allowed: a key that nobody had", id, owner(use))
		}
	}
	if known == nil {
		return nil
	}
	return d.enrolAgain(known, e, id)
}

// enrolAgain gives somebody known another key, other roles, or both.
func (d *decision) enrolAgain(known *person, e *recordv1.Enrol, id string) error {
	name := known.msg.GetName()
	if name != e.GetName() {
		return refuse(ReasonNameUsed, "enrol.name", "", "enrol.name: %q differs from %q, who is enrolled, in case alone; allowed: a name of one's own", e.GetName(), name)
	}
	if known.msg.GetRetired() {
		return refuse(ReasonNameUsed, "enrol.name", "", "enrol.name: %q was retired, and a name is never used again; allowed: another name", name)
	}
	if id == known.msg.GetKeyFingerprint() && strings.Join(sortRoles(e.GetRoles()), " ") == strings.Join(known.msg.GetRoles(), " ") {
		return refuse(ReasonNoChange, "enrol.name", "", "enrol: %s has this key and these roles already; allowed: another key or other roles", name)
	}
	if known.has(lead) && !contains(e.GetRoles(), lead) && d.leads() == 1 {
		return refuse(ReasonLastLead, "enrol.roles", lead, "enrol.roles: %s is the last lead and must stay one; enrol another lead first", name)
	}
	return nil
}

func owner(use keyUse) string {
	if use.person == "" {
		return "the server"
	}
	return use.person
}

func checkRoles(roles []string) error {
	if len(roles) == 0 {
		return badValue("enrol.roles", "technician, calibrator, lead", "there are none")
	}
	for i, r := range roles {
		if err := checkOneOf("enrol.roles", r, technician, calibrator, lead); err != nil {
			return err
		}
		if contains(roles[:i], r) {
			return badValue("enrol.roles", "each role once", "%s is there twice", r)
		}
	}
	return nil
}

// sortRoles puts roles in the order in which they are always shown.
func sortRoles(roles []string) []string {
	var out []string
	for _, r := range []string{technician, calibrator, lead} {
		if contains(roles, r) {
			out = append(out, r)
		}
	}
	return out
}

func contains(list []string, word string) bool {
	for _, w := range list {
		if w == word {
			return true
		}
	}
	return false
}

// leads counts the people who hold the role now.
func (s *State) leads() int {
	n := 0
	for _, p := range s.roster {
		if p.has(lead) && !p.msg.GetRetired() {
			n++
		}
	}
	return n
}

func (d *decision) retire() error {
	name := d.action.GetRetire().GetName()
	p, err := d.personNamed("retire.name", name)
	if err != nil {
		return err
	}
	if p.msg.GetRetired() {
		return refuse(ReasonNoChange, "retire.name", "", "retire.name: %s was retired already", name)
	}
	if p.has(lead) && d.leads() == 1 {
		return refuse(ReasonLastLead, "retire.name", "", "retire.name: %s is the last lead and cannot be retired; enrol another lead first", name)
	}
	return nil
}

func (s *State) personNamed(at, name string) (*person, error) {
	if p := s.people[fold(name)]; p != nil && p.msg.GetName() == name {
		return p, nil
	}
	return nil, refuse(ReasonNotFound, at, "", "%s: nobody called %q is enrolled", at, short(name))
}

func (d *decision) document() error {
	r := d.revision()
	if err := checkDocumentName(d.kind+".name", r.GetName()); err != nil {
		return err
	}
	if err := checkHash(d.kind+".sha256", r.GetSha256()); err != nil {
		return err
	}
	if old := d.documents[d.kind].bySHA[r.GetSha256()]; old != nil {
		return refuse(ReasonNoChange, d.kind+".sha256", "", "%s: this file is revision %d of %s already; allowed: a file that is not there yet", d.kind, old.GetRevision(), old.GetName())
	}
	return nil
}

// revision is what a definition or limits action adds.
func (d *decision) revision() *recordv1.Revision { return addedRevision(d.action) }

func addedRevision(a *recordv1.Action) *recordv1.Revision {
	if a.GetDefinition() != nil {
		return a.GetDefinition().GetRevision()
	}
	return a.GetLimits().GetRevision()
}

func (d *decision) changeServerKey() error {
	key, err := parseKey("server_key.public_key", d.action.GetServerKey().GetPublicKey())
	if err != nil {
		return err
	}
	if use, used := d.keys[signoff.Fingerprint(key)]; used {
		return refuse(ReasonKeyUsed, "server_key.public_key", "", "server_key.public_key: is or was the key of %s; allowed: a key that nobody had", owner(use))
	}
	return nil
}
