package record

import (
	"fmt"
	"slices"
	"sort"
	"strings"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/store/signoff"
	"witnessmark/tables/severity"
)

// What an open job can wait for.
const (
	ToRead      = "read"
	ToSubmit    = "submit"
	ToSign      = "sign"
	ToSignAgain = "sign-again" // a newer revision judges a release worse than it was signed
	ToReturn    = "return"     // it is danger, which nobody signs
	ToRevise    = "revise"     // it was returned to its author
	ToCollect   = "collect"
	ToReadBack  = "read-back"
)

// waitKinds is the kind of action by which each ends.
var waitKinds = map[string]string{
	ToRead: addRead.name, ToSubmit: submit.name, ToSign: signOff.name, ToSignAgain: signOff.name, ToReturn: signOff.name,
	ToRevise: submit.name, ToCollect: collect.name, ToReadBack: addReadback.name,
}

// Wait is something that a job waits for.
type Wait struct {
	What    string
	Of      Name   // a submission, the read as found, or the job
	Verdict string // by the newest revisions; empty where nothing is judged
	Author  string // of a submission
	Since   uint32 // entry
	Lead    bool   // nobody but a lead ends it, whatever its verdict
}

func (w Wait) String() string {
	words := w.What
	switch w.What {
	case ToSignAgain:
		words = "sign again"
	case ToReadBack:
		words = "read back"
	}
	return words + " " + w.Of.String()
}

// May says whether it waits for a person; who reviews decides what nobody may sign, too.
func (w Wait) May(who *recordv1.Person, onePerson bool) bool {
	own := w.Author == who.GetName()
	switch w.What {
	case ToRevise:
		if !own {
			return false
		}
	case ToSubmit: // a lead may, and is not waited for
		return contains(who.GetRoles(), signoff.RoleName(recordv1.Role_ROLE_CALIBRATOR))
	case ToSign, ToSignAgain, ToReturn:
		if own && !onePerson || (w.Lead || w.Verdict == string(severity.Warning)) && !has(who, lead) {
			return false
		}
	}
	return CheckRole(who, waitKinds[w.What]) == nil
}

// Verdict is a submission's verdict by the newest revisions, as far as the ledger says.
func Verdict(sub *recordv1.Submission) string {
	switch {
	case sub.GetJudgedWorse() != nil:
		return sub.GetJudgedWorse().GetVerdict()
	case sub.GetSignOff() != nil:
		return sub.GetSignOff().GetJudgement().GetVerdict()
	}
	return sub.GetJudgement().GetVerdict()
}

// WaitsOf is what a job waits for; a closed one for nothing.
func WaitsOf(j *recordv1.Job) (out []Wait) {
	if j.GetState() != open {
		return nil
	}
	found := AsFound(j)
	if found == nil {
		return []Wait{{What: ToRead, Of: Name{Job: j.GetNumber()}, Since: j.GetOpened().GetEntry()}}
	}
	if !slices.ContainsFunc(j.GetSubmissions(), func(sub *recordv1.Submission) bool { return sub.GetState() != Withdrawn }) {
		out = append(out, Wait{What: ToSubmit, Of: Name{Job: j.GetNumber()}, Since: found.GetAdded().GetEntry()})
	}
	for _, sub := range j.GetSubmissions() {
		w := Wait{Of: Name{j.GetNumber(), ASubmission, sub.GetNumber()}, Verdict: Verdict(sub), Author: author(sub)}
		w.What, w.Since = waitOf(j, sub)
		if w.Lead = w.What == ToSignAgain && onlyCorridor(sub); w.What != "" {
			out = append(out, w)
		}
		by := CorridorOf(j, sub.GetByCorridor())
		if by.GetKept() == sub.GetNumber() && onlyCorridor(sub) && w.What != ToSignAgain && w.What != ToReturn {
			w.What, w.Since, w.Lead = ToSign, by.GetClosed().GetEntry(), true
			out = append(out, w)
		}
	}
	if c := ToBeReadBack(j); c != nil {
		w := Wait{What: ToReadBack, Of: Name{j.GetNumber(), ARead, found.GetNumber()}, Since: c.GetCollected().GetEntry()}
		if sub := SubmissionOf(j, c.GetSubmission()); sub != nil {
			w.Of, w.Verdict, w.Author = Name{j.GetNumber(), ASubmission, sub.GetNumber()}, Verdict(sub), author(sub)
		}
		out = append(out, w)
	}
	return out
}

// waitOf is what a submission waits for, and since which entry.
func waitOf(j *recordv1.Job, sub *recordv1.Submission) (what string, since uint32) {
	danger := Verdict(sub) == string(severity.Danger)
	later := j.GetSubmissions()[sub.GetNumber():]
	newer := func(counts func(*recordv1.Submission) bool) bool { // of the same author
		return slices.ContainsFunc(later, func(n *recordv1.Submission) bool { return author(n) == author(sub) && counts(n) })
	}
	switch waits, worse := sub.GetState() == Waiting, IsRelease(sub) && sub.GetJudgedWorse() != nil; {
	case (waits || worse) && danger:
		return ToReturn, max(sub.GetLatest(), sub.GetJudgedWorseBy())
	case waits:
		return ToSign, sub.GetLatest()
	case worse:
		return ToSignAgain, sub.GetJudgedWorseBy()
	case sub.GetState() == Returned && !newer(func(*recordv1.Submission) bool { return true }):
		return ToRevise, sub.GetReturned().GetEntry()
	case sub.GetByCorridor() != 0 && slices.ContainsFunc(later, IsRelease): // one on the way to the next, whoever made that
	case IsRelease(sub) && !sub.GetCollected() && sub.GetState() != InCar && !newer(IsRelease):
		return ToCollect, releasedBy(sub)
	}
	return "", 0
}

// sinceReadBack are a job's collections since something was read back last.
func sinceReadBack(j *recordv1.Job) []*recordv1.Collection {
	list, backs := j.GetCollections(), j.GetReadBacks()
	if len(backs) == 0 {
		return list
	}
	return list[sort.Search(len(list), func(i int) bool {
		return list[i].GetCollected().GetEntry() > backs[len(backs)-1].GetAdded().GetEntry()
	}):]
}

// ToBeReadBack is the last collection, where no read-back followed it; else nil.
func ToBeReadBack(j *recordv1.Job) *recordv1.Collection {
	list := sinceReadBack(j)
	if len(list) == 0 {
		return nil
	}
	return list[len(list)-1]
}

// worst is the rank of the worst level; what is not judged comes after all.
var worst = severity.Danger.Rank()

// key sorts the worst first, and then what has waited longest.
func (w Wait) key() string {
	rank := worst + 1
	if w.Verdict != "" {
		rank = worst - severity.Of(w.Verdict).Rank()
	}
	key := join(rank, w.Since, w.What, w.Author, w.Of.String())
	if w.Lead {
		key += "\x00" + signoff.RoleName(lead)
	}
	return key
}

// Waits visits what all open jobs wait for, the worst first, and then what has waited longest.
func (s *State) Waits(fn func(Wait) (more bool)) {
	s.scan(docWait, "", "", func(key string, _ []byte) bool {
		p := strings.Split(key, "\x00")
		if len(p) < 5 || len(p) > 6 {
			s.fail(fmt.Errorf("%s %q: has %d parts", docWait, key, len(p)))
			return false
		}
		of, err := ParseName(p[4])
		s.fail(err)
		w := Wait{What: p[2], Of: of, Author: p[3], Since: number(p[1]), Lead: len(p) == 6}
		if rank := int(number(p[0])); rank <= worst {
			w.Verdict = severity.Words()[worst-rank]
		}
		return fn(w)
	})
}
