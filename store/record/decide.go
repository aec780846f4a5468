package record

import (
	"sort"
	"strconv"
	"strings"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/store/signoff"
)

// Kinds of actions: the names of the body fields of Action.
const (
	kindEnrol      = "enrol"
	kindRetire     = "retire"
	kindDefinition = "definition"
	kindLimits     = "limits"
	kindJob        = "job"
	kindRead       = "read"
	kindSubmission = "submission"
	kindSignOff    = "sign_off"
	kindReturn     = "return"
	kindWithdraw   = "withdraw"
	kindCollect    = "collect"
	kindReadBack   = "read_back"
	kindRun        = "run"
	kindServerKey  = "server_key"
)

// The three roles.
const (
	technician = "technician"
	calibrator = "calibrator"
	lead       = "lead"
)

// mayDo says which roles an action asks for; any one of them is enough. A warning and another
// fuel ask for a lead on top of it.
var mayDo = map[string][]string{
	kindEnrol:      {lead},
	kindRetire:     {lead},
	kindDefinition: {lead},
	kindLimits:     {lead},
	kindJob:        {technician, lead},
	kindRead:       {technician, lead},
	kindSubmission: {calibrator, lead},
	kindSignOff:    {calibrator, lead},
	kindReturn:     {technician, calibrator, lead},
	kindWithdraw:   {calibrator, lead},
	kindCollect:    {technician, lead},
	kindReadBack:   {technician, lead},
	kindRun:        {technician, lead},
	kindServerKey:  {lead},
}

// decision is one action on its way: what the rules of its kind look at.
type decision struct {
	*State
	action *recordv1.Action
	signed *signoff.Signed
	kind   string
	who    *person
}

// rules are what each kind asks of its own fields and of the state.
var rules = map[string]func(*decision) error{
	kindEnrol:      (*decision).enrol,
	kindRetire:     (*decision).retire,
	kindDefinition: (*decision).document,
	kindLimits:     (*decision).document,
	kindJob:        (*decision).openJob,
	kindRead:       (*decision).read,
	kindSubmission: (*decision).submit,
	kindSignOff:    (*decision).signOff,
	kindReturn:     (*decision).giveBack,
	kindWithdraw:   (*decision).withdraw,
	kindCollect:    (*decision).collect,
	kindReadBack:   (*decision).readBack,
	kindRun:        (*decision).run,
	kindServerKey:  (*decision).changeServerKey,
}

// Decide is nil if the action may become the next entry, a *Refusal if not, and ErrUnknownKind
// if this program cannot tell. It never changes the state. The envelope's signature was verified
// by Open. What happened since the signer looked is asked last, after the rule that it may have
// broken, since "returned by the lead" says more than "you are late".
func Decide(s *State, a *signoff.Signed) error {
	if s.Unknown {
		return ErrUnknownKind
	}
	if s.Genesis == nil {
		return refuse(ReasonNoGenesis, "genesis", "", "the ledger has no genesis yet; its first entry must be one")
	}
	d := &decision{State: s, action: a.Action, signed: a, kind: signoff.Kind(a.Action)}
	rule, known := rules[d.kind]
	if !known {
		return ErrUnknownKind
	}
	for _, check := range []func() error{d.signer, d.claims, d.role, func() error { return rule(d) }, d.actsOn} {
		if err := check(); err != nil {
			return err
		}
	}
	return nil
}

// signer finds the person whose current key signed.
func (d *decision) signer() error {
	if d.action.GetGenesis() != d.GenesisSHA256 {
		return refuse(ReasonOtherLedger, "genesis", d.GenesisSHA256,
			"genesis: the action is for another ledger (%q); this one is %s", short(d.action.GetGenesis()), d.GenesisSHA256)
	}
	use, ok := d.keys[d.signed.KeyID]
	if !ok || use.person == "" || !use.key.Equal(d.signed.Key) {
		return refuse(ReasonUnknownKey, short(d.signed.KeyID), "", "nobody is enrolled with the key %s; a lead must enrol its owner first", short(d.signed.KeyID))
	}
	p := d.people[fold(use.person)]
	if p.msg.GetRetired() {
		return refuse(ReasonRetired, p.msg.GetName(), "", "%s was retired and can sign nothing any more", p.msg.GetName())
	}
	if p.msg.GetKeyFingerprint() != d.signed.KeyID {
		return refuse(ReasonReplacedKey, p.msg.GetName(), p.msg.GetKeyFingerprint(),
			"%s has a newer key; %s can sign nothing any more, %s can", p.msg.GetName(), d.signed.KeyID, p.msg.GetKeyFingerprint())
	}
	d.who = p
	return nil
}

// claims checks what every action says: when, under which request id, and having seen what.
func (d *decision) claims() error {
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
	if size < 1 || size > d.Size {
		return refuse(ReasonSeen, "seen.size", "", "seen.size: is %d; allowed: 1 to %d, the entries of this ledger", size, d.Size)
	}
	if root := hexHash(d.Roots[size]); seen.GetRoot() != root {
		return refuse(ReasonSeen, "seen.root", root,
			"seen.root: the signer saw another ledger of %d entries (%q); this one's root is %s", size, short(seen.GetRoot()), root)
	}
	return nil
}

func (d *decision) role() error {
	need := mayDo[d.kind]
	if d.who.has(need...) {
		return nil
	}
	return d.needs(need...)
}

// needs refuses for want of a role.
func (d *decision) needs(roles ...string) error {
	list := strings.Join(roles, " or ")
	return refuse(ReasonRole, d.who.msg.GetName(), list, "%s is %s; this needs a %s", d.who.msg.GetName(),
		strings.Join(d.who.msg.GetRoles(), " and "), list)
}

func (p *person) has(roles ...string) bool {
	for _, mine := range p.msg.GetRoles() {
		for _, r := range roles {
			if mine == r {
				return true
			}
		}
	}
	return false
}

func (d *decision) actsOn() error {
	want, err := d.Target(d.action)
	if err != nil {
		return err
	}
	if got := d.action.GetActsOn(); got != want {
		return refuse(ReasonActsOn, "acts_on", want,
			"acts_on: something happened since this was signed, or it is about something else (%q); look again and sign on %s", short(got), want)
	}
	return nil
}

// sortedKeys gives a map's keys in an order, so that a refusal is always the same one.
func sortedKeys(m map[string]string) []string {
	keys := make([]string, 0, len(m))
	for k := range m {
		keys = append(keys, k)
	}
	sort.Strings(keys)
	return keys
}
