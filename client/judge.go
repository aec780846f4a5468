package client

import (
	"crypto/ed25519"
	"errors"
	"fmt"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/store/ledger"
	"witnessmark/store/record"
	"witnessmark/store/signoff"
)

// judge follows the few entries of a proof: who enrolled whom, who submitted, who said yes, and
// whether somebody took it back. It is no replay: that nothing else was said, the ledger tells.
type judge struct {
	root      string // SHA-256 of the genesis
	onePerson bool
	people    map[string]*recordv1.Person
	keys      map[signoff.KeyID]owned
	revisions map[string]bool // SHA-256 of the files that a lead added
	sealed    map[string]bool // commitments of the job
	leaves    map[string]bool // leaf hashes, hex

	job        *recordv1.Job     // with its submissions and corridors
	signedAt   map[uint32]string // leaf of what a submission is collected on: its newest sign-off, or itself where a corridor released it
	uncovered  map[uint32]error  // why no corridor released it
	collection *recordv1.Collect
}

// owned is a key, and whose it is or was.
type owned struct {
	key   ed25519.PublicKey
	owner string
}

// newJudge knows what a genesis says.
func newJudge(root string, g *recordv1.Genesis) (*judge, error) {
	j := &judge{root: root, onePerson: g.GetOnePerson(), people: map[string]*recordv1.Person{}, keys: map[signoff.KeyID]owned{},
		revisions: map[string]bool{}, sealed: map[string]bool{}, leaves: map[string]bool{}, signedAt: map[uint32]string{}, uncovered: map[uint32]error{}}
	return j, j.enrol(g.GetLeadName(), []string{signoff.RoleName(recordv1.Role_ROLE_LEAD)}, g.GetLeadKey())
}

func (j *judge) enrol(name string, roles []string, line string) error {
	key, err := signoff.ParsePublicKey("the key of "+name, []byte(line))
	if err != nil {
		return err
	}
	id := signoff.Fingerprint(key)
	if used, ok := j.keys[id]; ok && used.owner != name {
		return fmt.Errorf("the key of %s is given to %s", used.owner, name)
	}
	if j.people[name].GetRetired() {
		return fmt.Errorf("%s was retired", name)
	}
	j.keys[id] = owned{key, name}
	j.people[name] = &recordv1.Person{Name: name, Roles: roles, KeyId: string(id)}
	return nil
}

// follow takes in the next entry, which is in the tree of the checkpoint.
func (j *judge) follow(entry []byte) error {
	envelope, _, err := record.EnvelopeOf(entry)
	if err != nil {
		return err
	}
	signed, err := signoff.Open(envelope, func(id signoff.KeyID) (ed25519.PublicKey, bool) { k, ok := j.keys[id]; return k.key, ok })
	if err != nil {
		return err
	}
	who := j.people[j.keys[signed.KeyID].owner]
	switch {
	case signed.Action.GetGenesis() != j.root:
		return errors.New("it is of another ledger")
	case who.GetKeyId() != string(signed.KeyID) || who.GetRetired():
		return fmt.Errorf("%s could sign nothing any more", who.GetName())
	}
	if err := record.CheckRole(who, signed.Kind); err != nil {
		return err
	}
	for _, c := range signoff.Commitments(signed.Action) {
		j.sealed[c.Commitment] = true
	}
	leaf := ledger.LeafHash(entry)
	text := fmt.Sprintf("%x", leaf[:])
	j.leaves[text] = true
	return j.said(signed.Action, who, text)
}

// said takes in what somebody said who could.
func (j *judge) said(a *recordv1.Action, who *recordv1.Person, leaf string) error {
	switch b := a.GetBody().(type) {
	case *recordv1.Action_Enrol:
		return j.enrol(b.Enrol.GetName(), b.Enrol.GetRoles(), b.Enrol.GetPublicKey())
	case *recordv1.Action_Retire:
		p := j.people[b.Retire.GetName()]
		if p == nil {
			return errors.New("it retires nobody")
		}
		p.Retired, p.Compromised = true, b.Retire.GetCompromised()
		return nil
	case *recordv1.Action_Definition:
		j.revisions[b.Definition.GetRevision().GetSha256()] = true
		return nil
	case *recordv1.Action_Limits:
		j.revisions[b.Limits.GetRevision().GetSha256()] = true
		return nil
	case *recordv1.Action_Job:
		if j.job != nil {
			return errors.New("it opens a second job")
		}
		j.job = &recordv1.Job{Definition: b.Job.GetDefinition()}
		j.details(b.Job.GetDetails())
		return nil
	}
	switch n := record.JobOf(a); {
	case j.job == nil || n == 0:
		return errors.New("it is about a job that was not opened")
	case j.job.GetNumber() == 0:
		j.job.Number = n // which it has, what is said of it tells
	case j.job.GetNumber() != n:
		return fmt.Errorf("it is about job %d, and the proof about job %d", n, j.job.GetNumber())
	}
	j.collection = nil // what a proof is of comes last
	return j.saidOfJob(a, who, leaf)
}

func (j *judge) details(d *recordv1.JobDetails) {
	j.job.Plate, j.job.Frame = shut(d.GetPlate()), shut(d.GetFrame())
	j.job.Limits, j.job.Fuel, j.job.Parts, j.job.Numbers = d.GetLimits(), d.GetFuel(), d.GetParts(), d.GetNumbers()
}

// shut is a sealed text before it is opened; nil for none.
func shut(s *recordv1.Sealed) *recordv1.Text {
	if s == nil {
		return nil
	}
	return &recordv1.Text{Commitment: s.GetCommitment()}
}

func (j *judge) saidOfJob(a *recordv1.Action, who *recordv1.Person, leaf string) error {
	event := &recordv1.Event{Person: who.GetName(), SignedAt: a.GetTime()}
	switch b := a.GetBody().(type) {
	case *recordv1.Action_Amend:
		j.details(b.Amend.GetDetails())
	case *recordv1.Action_Read:
		j.job.Reads = append(j.job.Reads, &recordv1.Read{Number: uint32(len(j.job.GetReads()) + 1), Image: b.Read.GetImage(), Frame: shut(b.Read.GetFrame())})
	case *recordv1.Action_Void:
		if n := b.Void.GetRead(); n >= 1 && int(n) <= len(j.job.GetReads()) {
			j.job.Reads[n-1].Voided = event
		}
	case *recordv1.Action_Submission:
		sub := &recordv1.Submission{Job: j.job.GetNumber(), Number: uint32(len(j.job.GetSubmissions()) + 1),
			State: record.Waiting, Image: b.Submission.GetImage(), Judgement: b.Submission.GetJudgement(), Submitted: event, Corridor: b.Submission.GetCorridor()}
		j.job.Submissions = append(j.job.Submissions, sub)
		if sub.GetCorridor() != nil {
			j.release(sub, leaf)
		}
	case *recordv1.Action_Corridor:
		return j.opens(b.Corridor, who, event)
	case *recordv1.Action_CorridorClose:
		j.closes(b.CorridorClose.GetCorridor(), b.CorridorClose.GetKeep())
	case *recordv1.Action_Close:
		j.closes(uint32(len(j.job.GetCorridors())), 0)
	case *recordv1.Action_SignOff:
		sub := record.SubmissionOf(j.job, b.SignOff.GetSubmission())
		switch {
		case sub == nil:
			return fmt.Errorf("it signs a submission %d that is not in the proof", b.SignOff.GetSubmission())
		case sub.GetImage().GetSha256() != b.SignOff.GetImageSha256():
			return fmt.Errorf("it signs another image than that of %s", Name(sub))
		case !j.leaves[a.GetActsOn()]:
			return errors.New("it acts on an entry that is not in the proof")
		}
		if err := record.CheckSignOff(who, j.onePerson, sub, b.SignOff); err != nil {
			return err
		}
		sub.SignOff, sub.Signed, sub.State = b.SignOff, event, record.Released
		j.signedAt[sub.GetNumber()] = leaf
	case *recordv1.Action_Return:
		if sub := record.SubmissionOf(j.job, b.Return.GetSubmission()); sub != nil {
			sub.State, sub.Returned = record.Returned, event
		}
	case *recordv1.Action_Withdraw:
		if sub := record.SubmissionOf(j.job, b.Withdraw.GetSubmission()); sub != nil {
			sub.State = record.Withdrawn
		}
	case *recordv1.Action_Collect:
		n := b.Collect.GetSubmission()
		switch {
		case n != 0 && j.signedAt[n] == "" && j.uncovered[n] != nil:
			return fmt.Errorf("it collects what nobody signed, and a corridor did not release: %w", j.uncovered[n])
		case n != 0 && j.signedAt[n] != a.GetActsOn():
			return errors.New("it collects on another sign-off than the newest")
		}
		if n != 0 {
			j.collection = b.Collect
		}
	}
	return nil
}
