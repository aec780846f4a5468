package record

import (
	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/store/signoff"
)

// Target is the leaf hash (hex) that an action must have in acts_on: of the entry that it
// answers, so that somebody who did not see the newest one cannot act by accident.
//
//	enrol, retire        the last entry about that name; entry 0 for a new one
//	definition, limits   the newest revision of that name; entry 0 for a new one
//	job                  the newest revision of the definition that it names
//	read, run            the entry that opened the job
//	submission           the original's
//	sign_off, return,
//	withdraw             the submission's latest: itself, its sign-off or its return
//	collect              the sign-off; of the original: its read
//	read_back            the newest collection
//	server_key           the last entry about the server's key
//
// The error is a *Refusal where what it acts on is not there, or ErrUnknownKind.
func (s *State) Target(a *recordv1.Action) (hash string, err error) {
	if s.Genesis == nil {
		return "", refuse(ReasonNoGenesis, "genesis", "", "the ledger has no genesis yet")
	}
	index, err := s.target(a)
	if err != nil {
		return "", err
	}
	return s.leaf(index), nil
}

func (s *State) target(a *recordv1.Action) (uint64, error) {
	switch kind := signoff.Kind(a); kind {
	case kindEnrol:
		return s.nameEntry(a.GetEnrol().GetName()), nil
	case kindRetire:
		p, err := s.personNamed("retire.name", a.GetRetire().GetName())
		if err != nil {
			return 0, err
		}
		return p.entry, nil
	case kindDefinition, kindLimits:
		return documentEntry(s.documents[kind].newest[addedRevision(a).GetName()]), nil
	case kindJob:
		name := a.GetJob().GetDefinition().GetName()
		doc := s.documents[kindDefinition].newest[name]
		if doc == nil {
			return 0, refuse(ReasonNotFound, "job.definition.name", "", "job.definition.name: there is no definition called %q", short(name))
		}
		return documentEntry(doc), nil
	case kindServerKey:
		return s.serverEntry, nil
	case kindSignOff:
		return s.subEntry("sign_off", a.GetSignOff().GetJob(), a.GetSignOff().GetSubmission())
	case kindReturn:
		return s.subEntry("return", a.GetReturn().GetJob(), a.GetReturn().GetSubmission())
	case kindWithdraw:
		return s.subEntry("withdraw", a.GetWithdraw().GetJob(), a.GetWithdraw().GetSubmission())
	}
	return s.jobTarget(a)
}

// jobTarget is target for what acts on a job as a whole.
func (s *State) jobTarget(a *recordv1.Action) (uint64, error) {
	switch kind := signoff.Kind(a); kind {
	case kindRead, kindRun:
		j, err := s.jobAt(kind+".job", a.GetRead().GetJob()+a.GetRun().GetJob()) // one of them is there
		if err != nil {
			return 0, err
		}
		return j.entry, nil
	case kindSubmission:
		j, err := s.jobWithOriginal("submission.job", a.GetSubmission().GetJob())
		if err != nil {
			return 0, err
		}
		return j.readEntry, nil
	case kindCollect:
		return s.collectTarget(a.GetCollect())
	case kindReadBack:
		j, err := s.jobAt("read_back.job", a.GetReadBack().GetJob())
		if err != nil {
			return 0, err
		}
		if j.collection() == nil {
			return 0, refuse(ReasonNotCollected, "read_back.job", "", "nothing of job %d was collected yet; collect first", j.msg.GetNumber())
		}
		return j.collectEntry, nil
	}
	return 0, ErrUnknownKind
}

func (s *State) collectTarget(c *recordv1.Collect) (uint64, error) {
	if c.GetSubmission() == 0 {
		j, err := s.jobWithOriginal("collect.job", c.GetJob())
		if err != nil {
			return 0, err
		}
		return j.readEntry, nil
	}
	sub, err := s.subAt("collect", c.GetJob(), c.GetSubmission())
	if err != nil {
		return 0, err
	}
	if sub.msg.GetSigned() == nil {
		return 0, sub.wrongState("collect.submission", "the newest release")
	}
	return uint64(sub.msg.GetSigned().GetEntry()), nil
}

func (s *State) subEntry(at string, job, n uint32) (uint64, error) {
	sub, err := s.subAt(at, job, n)
	if err != nil {
		return 0, err
	}
	return sub.entry, nil
}

func (s *State) nameEntry(name string) uint64 {
	if p := s.people[fold(name)]; p != nil {
		return p.entry
	}
	return 0
}

func documentEntry(d *recordv1.Document) uint64 { return uint64(d.GetAdded().GetEntry()) }
