package record

import (
	"strings"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/store/signoff"
)

var enrol = &kind{
	name: "enrol",
	// the last entry about that name; entry 0 for a new one
	target: func(s *State, a *recordv1.Action) (uint64, error) { return s.nameEntry(a.GetEnrol().GetName()), nil },
	decide: decideEnrol,
	apply: func(c *change) {
		e := c.action.GetEnrol()
		key, err := parseKey("enrol.public_key", e.GetPublicKey())
		if err != nil {
			c.fail(err)
			return
		}
		c.setPerson(e.GetName(), e.GetRoles(), key, c.event)
	},
}

func decideEnrol(d *decision) error {
	e := d.action.GetEnrol()
	if err := signoff.CheckName(e.GetName()); err != nil {
		return refuse(ReasonBadValue, "enrol.name", "", "enrol.name: %s", oneLine(err.Error()))
	}
	if err := checkRoles(e.GetRoles()); err != nil {
		return err
	}
	key, err := parseKey("enrol.public_key", e.GetPublicKey())
	if err != nil {
		return err
	}
	id := string(signoff.Fingerprint(key))
	known, again := d.known(e.GetName())
	if use, used := d.key(id); used && (!again || use.GetPerson() != known.GetName() || known.GetKeyId() != id) {
		return refuse(ReasonKeyUsed, "enrol.public_key", "", "enrol.public_key: %s is or was the key of %s; allowed: a key that nobody had", id, owner(use))
	}
	if !again {
		return nil
	}
	return d.enrolAgain(known, e, id)
}

// enrolAgain gives somebody known another key, other roles, or both.
func (d *decision) enrolAgain(known *recordv1.Person, e *recordv1.Enrol, id string) error {
	name := known.GetName()
	if name != e.GetName() {
		return refuse(ReasonNameUsed, "enrol.name", "", "enrol.name: %q is too like %q, who is enrolled; allowed: a name of one's own", e.GetName(), name)
	}
	if known.GetRetired() {
		return refuse(ReasonNameUsed, "enrol.name", "", "enrol.name: %q was retired, and a name is never used again; allowed: another name", name)
	}
	if id == known.GetKeyId() && strings.Join(sortRoles(e.GetRoles()), " ") == strings.Join(known.GetRoles(), " ") {
		return refuse(ReasonNoChange, "enrol.name", "", "enrol: %s has this key and these roles already; allowed: another key or other roles", name)
	}
	if has(known, lead) && !contains(e.GetRoles(), signoff.RoleName(lead)) && d.leads() == 1 {
		return refuse(ReasonLastLead, "enrol.roles", signoff.RoleName(lead), "enrol.roles: %s is the last lead and must stay one; enrol another lead first", name)
	}
	return nil
}

func owner(use *recordv1.Key) string {
	if use.GetPerson() == "" {
		return "the server"
	}
	return use.GetPerson()
}

func checkRoles(roles []string) error {
	if len(roles) == 0 {
		return badValue("enrol.roles", roleWords(), "there are none")
	}
	for i, r := range roles {
		if _, err := signoff.ParseRole(r); err != nil {
			return badValue("enrol.roles", roleWords(), "%q is none of them", short(r))
		}
		if contains(roles[:i], r) {
			return badValue("enrol.roles", "each role once", "%s is there twice", r)
		}
	}
	return nil
}

func roleWords() string {
	return strings.Join(roleNames(Roles), ", ")
}
