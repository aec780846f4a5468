package client

import (
	"crypto/ed25519"
	"errors"
	"fmt"
	"slices"
	"strings"

	"google.golang.org/protobuf/proto"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/store/ledger"
	"witnessmark/store/record"
	"witnessmark/store/signoff"
)

// member is somebody as a proof's entries tell.
type member struct {
	keyID       signoff.KeyID
	roles       []string
	retired     bool
	compromised bool
}

// judge follows the few entries of a proof: who enrolled whom, who submitted, who said yes, and
// whether somebody took it back. It is no replay: that nothing else was said, the ledger tells.
type judge struct {
	root      string // SHA-256 of the genesis
	onePerson bool
	people    map[string]*member
	keys      map[signoff.KeyID]ed25519.PublicKey
	owners    map[signoff.KeyID]string
	revisions map[string]bool // SHA-256 of the files that a lead added
	sealed    map[string]bool // commitments of the job
	leaves    map[string]bool // leaf hashes, hex

	job        *recordv1.Job
	submitted  []*recordv1.Submission
	signedAt   map[uint32]string // leaf of a submission's newest sign-off
	collection *recordv1.Collect
}

// follow takes in the next entry, which is in the tree of the checkpoint.
func (j *judge) follow(p *recordv1.Proven) error {
	leaf := ledger.LeafHash(p.GetEntry())
	text := fmt.Sprintf("%x", leaf[:])
	defer func() { j.leaves[text] = true }()
	if p.GetIndex() == 0 {
		return j.begin(p.GetEntry())
	}
	envelope, _, err := record.EnvelopeOf(p.GetEntry())
	if err != nil {
		return err
	}
	signed, err := signoff.Open(envelope, func(id signoff.KeyID) (ed25519.PublicKey, bool) { k, ok := j.keys[id]; return k, ok })
	if err != nil {
		return err
	}
	name := j.owners[signed.KeyID]
	who := j.people[name]
	switch {
	case signed.Action.GetGenesis() != j.root:
		return errors.New("it is of another ledger")
	case who.keyID != signed.KeyID || who.retired:
		return fmt.Errorf("%s could sign nothing any more", name)
	case !who.is(signoff.RolesOf(signed.Kind)...):
		return fmt.Errorf("%s had no role for it", name)
	}
	return j.said(signed.Action, name, who, text)
}

func (m *member) is(roles ...recordv1.Role) bool {
	return slices.ContainsFunc(roles, func(r recordv1.Role) bool { return slices.Contains(m.roles, signoff.RoleName(r)) })
}

func (j *judge) begin(entry []byte) error {
	var e recordv1.Entry
	if err := proto.Unmarshal(entry, &e); err != nil || e.GetGenesis() == nil {
		return errors.New("entry 0 is no genesis")
	}
	g := e.GetGenesis()
	j.root, j.onePerson = HashHex(entry), g.GetOnePerson()
	return j.enrol(g.GetLeadName(), []string{signoff.RoleName(recordv1.Role_ROLE_LEAD)}, g.GetLeadKey())
}

func (j *judge) enrol(name string, roles []string, line string) error {
	key, err := signoff.ParsePublicKey("the key of "+name, []byte(line))
	if err != nil {
		return err
	}
	id := signoff.Fingerprint(key)
	if owner, used := j.owners[id]; used && owner != name {
		return fmt.Errorf("the key of %s is given to %s", owner, name)
	}
	j.keys[id], j.owners[id] = key, name
	j.people[name] = &member{keyID: id, roles: roles}
	return nil
}

// said takes in what somebody said who could.
func (j *judge) said(a *recordv1.Action, name string, who *member, leaf string) error {
	switch a.GetBody().(type) {
	case *recordv1.Action_Enrol, *recordv1.Action_Retire, *recordv1.Action_Definition, *recordv1.Action_Limits, *recordv1.Action_Job:
	default:
		if err := j.aboutJob(record.JobOf(a)); err != nil {
			return err
		}
	}
	for _, c := range signoff.Commitments(a) {
		j.sealed[c.Commitment] = true
	}
	switch b := a.GetBody().(type) {
	case *recordv1.Action_Enrol:
		if old := j.people[b.Enrol.GetName()]; old != nil && old.retired {
			return fmt.Errorf("%s was retired", b.Enrol.GetName())
		}
		return j.enrol(b.Enrol.GetName(), b.Enrol.GetRoles(), b.Enrol.GetPublicKey())
	case *recordv1.Action_Retire:
		m := j.people[b.Retire.GetName()]
		if m == nil {
			return errors.New("it retires nobody")
		}
		m.retired, m.compromised = true, b.Retire.GetCompromised()
	case *recordv1.Action_Definition:
		j.revisions[b.Definition.GetRevision().GetSha256()] = true
	case *recordv1.Action_Limits:
		j.revisions[b.Limits.GetRevision().GetSha256()] = true
	case *recordv1.Action_Job:
		if j.job != nil {
			return errors.New("it opens a second job")
		}
		j.job = &recordv1.Job{Definition: b.Job.GetDefinition()}
		j.details(b.Job.GetDetails())
	case *recordv1.Action_Amend:
		j.details(b.Amend.GetDetails())
	default:
		return j.saidOfImage(a, name, who, leaf)
	}
	return nil
}

// aboutJob wants one job, that was opened; which number it has, what is said of it tells.
func (j *judge) aboutJob(n uint32) error {
	switch {
	case j.job == nil || n == 0:
		return errors.New("it is about a job that was not opened")
	case j.job.GetNumber() == 0:
		j.job.Number = n
	case j.job.GetNumber() != n:
		return fmt.Errorf("it is about job %d, and the proof about job %d", n, j.job.GetNumber())
	}
	j.collection = nil // what a proof is of comes last
	return nil
}

func (j *judge) details(d *recordv1.JobDetails) {
	j.job.Plate, j.job.Frame = &recordv1.Text{Commitment: d.GetPlate().GetCommitment()}, nil
	if d.GetFrame() != nil {
		j.job.Frame = &recordv1.Text{Commitment: d.GetFrame().GetCommitment()}
	}
	j.job.Limits, j.job.Fuel, j.job.Parts, j.job.Numbers = d.GetLimits(), d.GetFuel(), d.GetParts(), d.GetNumbers()
}

func (j *judge) saidOfImage(a *recordv1.Action, name string, who *member, leaf string) error {
	switch b := a.GetBody().(type) {
	case *recordv1.Action_Read:
		r := &recordv1.Read{Image: b.Read.GetImage()}
		if f := b.Read.GetFrame(); f != nil {
			r.Frame = &recordv1.Text{Commitment: f.GetCommitment()}
		}
		j.job.Reads = append(j.job.Reads, r)
	case *recordv1.Action_Void:
		if n := b.Void.GetRead(); n >= 1 && int(n) <= len(j.job.GetReads()) {
			j.job.Reads[n-1].Voided = &recordv1.Event{}
		}
	case *recordv1.Action_Submission:
		j.submitted = append(j.submitted, &recordv1.Submission{Job: j.job.GetNumber(), Number: uint32(len(j.submitted) + 1), State: record.Waiting,
			Image: b.Submission.GetImage(), Judgement: b.Submission.GetJudgement(), Submitted: &recordv1.Event{Person: name, SignedAt: a.GetTime()}})
	case *recordv1.Action_SignOff:
		return j.signOff(a, name, who, leaf)
	case *recordv1.Action_Return:
		if sub := j.sub(b.Return.GetSubmission()); sub != nil {
			sub.State = record.Returned
		}
	case *recordv1.Action_Withdraw:
		if sub := j.sub(b.Withdraw.GetSubmission()); sub != nil {
			sub.State = record.Withdrawn
		}
	case *recordv1.Action_Collect:
		if b.Collect.GetSubmission() == 0 {
			return nil
		}
		if j.signedAt[b.Collect.GetSubmission()] != a.GetActsOn() {
			return errors.New("it collects on another sign-off than the newest")
		}
		j.collection = b.Collect
	}
	return nil
}

func (j *judge) sub(n uint32) *recordv1.Submission {
	if n == 0 || uint64(n) > uint64(len(j.submitted)) {
		return nil
	}
	return j.submitted[n-1]
}

// signOff holds a yes to who may give it, and to what it must give reasons for.
func (j *judge) signOff(a *recordv1.Action, name string, who *member, leaf string) error {
	so := a.GetSignOff()
	sub := j.sub(so.GetSubmission())
	verdict := so.GetJudgement().GetVerdict()
	switch {
	case sub == nil:
		return fmt.Errorf("it signs a submission %d that is not in the proof", so.GetSubmission())
	case sub.GetImage().GetSha256() != so.GetImageSha256():
		return fmt.Errorf("it signs another image than that of %s", Name(sub))
	case !j.leaves[a.GetActsOn()]:
		return errors.New("it acts on an entry that is not in the proof")
	case sub.GetSubmitted().GetPerson() == name && !(j.onePerson && so.GetByAuthor() && strings.TrimSpace(so.GetReason()) != ""):
		return fmt.Errorf("%s signed their own", name)
	case verdict == "danger", verdict == "warning" && !who.is(recordv1.Role_ROLE_LEAD):
		return fmt.Errorf("%s could not sign a %s", name, verdict)
	}
	for _, key := range so.GetJudgement().GetWarnings() {
		if strings.TrimSpace(so.GetBecause()[key]) == "" {
			return fmt.Errorf("no reason is given for %s", key)
		}
	}
	sub.SignOff, sub.Signed, sub.State = so, &recordv1.Event{Person: name, SignedAt: a.GetTime()}, record.Released
	j.signedAt[sub.GetNumber()] = leaf
	return nil
}
