package record

import (
	"slices"
	"strconv"
	"strings"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/store/signoff"
)

// decision is one action on its way: what the rules of its kind look at.
type decision struct {
	*State
	action *recordv1.Action
	signed *signoff.Signed
	kind   *kind
	who    *recordv1.Person
}

// Decide is nil if the action may become the next entry, a *Refusal if not, ErrUnknownKind if this
// program cannot tell, and else an error of the store. It changes nothing. The envelope's signature
// was verified by Open; what the action says about bytes is not asked here. What happened since the
// signer looked is asked last, after the rule that it may have broken, since "returned by the lead"
// says more than "you are late".
func Decide(s *State, a *signoff.Signed) error {
	if s.Unapplied() {
		return ErrUnknownKind
	}
	if s.Size() == 0 {
		return refuse(ReasonNoGenesis, "genesis", "", "the ledger has no genesis yet; its first entry must be one")
	}
	k := kinds[signoff.Kind(a.Action)]
	if k == nil {
		return ErrUnknownKind
	}
	d := &decision{State: s, action: a.Action, signed: a, kind: k}
	for _, check := range []func() error{d.signer, d.carried, d.role, d.jobTakes, func() error { return k.decide(d) }, d.sealed, d.actsOn} {
		err := check()
		if s.err != nil {
			return s.err
		}
		if err != nil {
			return err
		}
	}
	return nil
}

// signer finds the person whose current key signed.
func (d *decision) signer() error {
	if d.action.GetGenesis() != d.GenesisSHA256() {
		return refuse(ReasonOtherLedger, "genesis", d.GenesisSHA256(),
			"genesis: the action is for another ledger (%q); this one is %s", short(d.action.GetGenesis()), d.GenesisSHA256())
	}
	id := string(d.signed.KeyID)
	key, ok := d.key(id)
	if !ok || key.GetPerson() == "" || key.GetPublicKey() != signoff.FormatPublicKey(d.signed.Key) {
		return refuse(ReasonUnknownKey, short(id), "", "nobody is enrolled with the key %s; a lead must enrol its owner first", short(id))
	}
	p, _ := d.Person(key.GetPerson())
	if p.GetRetired() {
		return refuse(ReasonRetired, p.GetName(), "", "%s was retired and can sign nothing any more", p.GetName())
	}
	if p.GetKeyId() != id {
		return refuse(ReasonReplacedKey, p.GetName(), p.GetKeyId(),
			"%s has a newer key; %s can sign nothing any more, %s can", p.GetName(), id, p.GetKeyId())
	}
	d.who = p
	return nil
}

// carried checks what every action says: when, under which request id, and having seen what.
func (d *decision) carried() error {
	if err := checkTime("time", d.action.GetTime()); err != nil {
		return err
	}
	id := d.action.GetRequestId()
	if err := checkLine("request_id", id, maxRequest); err != nil {
		return err
	}
	if index, sum, used := d.Request(id); used {
		n := strconv.FormatUint(index, 10)
		if sum == hexSHA256(d.signed.Envelope) {
			return refuse(ReasonDuplicateRequest, n, "", "this action is entry %s already", n)
		}
		return refuse(ReasonRequestUsed, "request_id", "", "request_id: entry %s has the id %q already; allowed: an id of its own for each action", n, short(id))
	}
	return d.seen()
}

func (d *decision) seen() error {
	seen := d.action.GetSeen()
	size := uint64(seen.GetSize())
	if size < 1 || size > d.Size() {
		return refuse(ReasonSeen, "seen.size", "", "seen.size: is %d; allowed: 1 to %d, the entries of this ledger", size, d.Size())
	}
	if root := hexHash(d.Root(size)); seen.GetRoot() != root {
		return refuse(ReasonSeen, "seen.root", root,
			"seen.root: the signer saw another ledger of %d entries (%q); this one's root is %s", size, short(seen.GetRoot()), root)
	}
	return nil
}

func (d *decision) role() error { return CheckRole(d.who, d.kind.name) }

// CheckRole refuses a kind of action to whoever has none of its roles.
func CheckRole(who *recordv1.Person, kind string) error { return needs(who, signoff.RolesOf(kind)...) }

// needs refuses for want of a role; one of them is enough.
func needs(who *recordv1.Person, roles ...recordv1.Role) error {
	if slices.ContainsFunc(roles, func(r recordv1.Role) bool { return has(who, r) }) {
		return nil
	}
	list := strings.Join(roleNames(roles), " or ")
	return refuse(ReasonRole, who.GetName(), list, "%s is %s; this needs a %s", who.GetName(), strings.Join(who.GetRoles(), " and "), list)
}

func has(p *recordv1.Person, role recordv1.Role) bool {
	return contains(p.GetRoles(), signoff.RoleName(role))
}

// jobTakes asks whether the job that the action names is there, open, and not erased.
func (d *decision) jobTakes() error {
	n := JobOf(d.action)
	if !namesJob(d.action) {
		return nil
	}
	j, err := d.jobAt(d.kind.name+".job", n)
	if err != nil {
		return err
	}
	switch {
	case j.GetErased() != nil && d.kind != erase && (d.kind == reopenJob || len(Brings(d.action))+len(signoff.Commitments(d.action)) > 0):
		return refuse(ReasonErased, d.kind.name+".job", "", "job %d was erased; neither texts nor files can be entered in it", n)
	case j.GetState() == closed && !d.kind.closed:
		return refuse(ReasonClosed, d.kind.name+".job", "", "job %d is closed (%s); reopen it first", n, j.GetOutcome())
	}
	return nil
}

func (d *decision) actsOn() error {
	want, err := d.Target(d.action)
	if err != nil || d.err != nil {
		return err
	}
	if got := d.action.GetActsOn(); got != want {
		return refuse(ReasonActsOn, "acts_on", want,
			"acts_on: something happened since this was signed, or it is about something else (%q); look again and sign on %s", short(got), want)
	}
	return nil
}

// Target is the leaf hash (hex) that an action must have in acts_on. The error is a *Refusal where
// what it acts on is not there, or ErrUnknownKind.
func (s *State) Target(a *recordv1.Action) (hash string, err error) {
	if s.Size() == 0 {
		return "", refuse(ReasonNoGenesis, "genesis", "", "the ledger has no genesis yet")
	}
	k := kinds[signoff.Kind(a)]
	if k == nil {
		return "", ErrUnknownKind
	}
	index, err := k.target(s, a)
	if err == nil {
		hash = s.leaf(index)
	}
	if s.err != nil {
		return "", s.err
	}
	return hash, err
}
