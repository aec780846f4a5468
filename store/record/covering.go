package record

import (
	"cmp"
	"errors"
	"fmt"

	"google.golang.org/protobuf/proto"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/tables/severity"
)

// CorridorOf finds corridor n of a job; nil where there is none.
func CorridorOf(j *recordv1.Job, n uint32) *recordv1.Corridor { return nth(j.GetCorridors(), n) }

// CorridorName is what people call a corridor: the first one of job 7 is 7.corridor1.
func CorridorName(c *recordv1.Corridor) string {
	return Name{c.GetJob(), ACorridor, c.GetNumber()}.String()
}

// OpenIn is the corridor of a job that is open, whether it still covers anything or not; nil for none.
func OpenIn(j *recordv1.Job) *recordv1.Corridor {
	list := j.GetCorridors()
	if len(list) == 0 || list[len(list)-1].GetState() != open {
		return nil // a next one is opened only once the one before is closed
	}
	return list[len(list)-1]
}

// Covering is the corridor of a job that covers what is submitted now; nil for none.
func (s *State) Covering(job uint32) *recordv1.Corridor { return proto.CloneOf(s.covering(s.job(job))) }

func (s *State) covering(j *recordv1.Job) *recordv1.Corridor {
	if c := OpenIn(j); c != nil && s.Ended(j, c) == "" {
		return c
	}
	return nil
}

// Ended is why an open corridor of a job covers nothing more, in words; empty while it does, and of a closed one.
func (s *State) Ended(j *recordv1.Job, c *recordv1.Corridor) string {
	if c.GetState() != open {
		return ""
	}
	if asked := c.GetAsked(); c.GetReleased() >= asked.GetMaps() {
		return fmt.Sprintf("its maps are used up, %d of %d", c.GetReleased(), asked.GetMaps())
	}
	return cmp.Or(s.signerEnded(c), s.factsEnded(j, c.GetAsked()), StartEnded(j, c.GetAsked()))
}

func (s *State) signerEnded(c *recordv1.Corridor) string {
	switch p, _ := s.Person(c.GetOpened().GetPerson()); {
	case p.GetRetired():
		return p.GetName() + ", who signed it, was retired"
	case !has(p, lead):
		return p.GetName() + ", who signed it, is no lead any more"
	case p.GetKeyId() != c.GetSignedWith():
		return p.GetName() + ", who signed it, has another key now"
	}
	return ""
}

func (s *State) factsEnded(j *recordv1.Job, asked *recordv1.OpenCorridor) string {
	var not *Refusal
	if !errors.As(s.byNow("", j, asked), &not) {
		return ""
	}
	switch not.Reason {
	case ReasonOtherInputs:
		return "the job has another fuel or other numbers now"
	case ReasonOlderRevision:
		return "there is a newer revision of its definition or limits"
	}
	return "the job has other limits now"
}

// StartOf is the image that a corridor of a job starts from, whatever became of it; nil where there is none.
func StartOf(j *recordv1.Job, asked *recordv1.OpenCorridor) *recordv1.Image {
	if asked.GetFrom() == 0 {
		return AsFound(j).GetImage()
	}
	return SubmissionOf(j, asked.GetFrom()).GetImage()
}

// StartEnded says why what a corridor starts from is it no more; empty while it is.
func StartEnded(j *recordv1.Job, asked *recordv1.OpenCorridor) string {
	if asked.GetFrom() == 0 {
		if StartOf(j, asked).GetSha256() != asked.GetFromSha256() {
			return "the read as found, from which it starts, is another one now"
		}
		return ""
	}
	if sub := SubmissionOf(j, asked.GetFrom()); !IsRelease(sub) {
		return fmt.Sprintf("%s, from which it starts, is a release no more: %s", subName(sub), sub.GetState())
	}
	return ""
}

// NotCovered is why a corridor of a job does not cover a submission whose claim is about it: author, verdict, cells, or
// returned where somebody returned the very same image, the first that applies; empty where it does.
func NotCovered(j *recordv1.Job, c *recordv1.Corridor, sub *recordv1.Submission) string {
	switch asked := c.GetAsked(); {
	case !contains(asked.GetAuthors(), author(sub)):
		return "author"
	case severity.Worse(severity.Of(sub.GetJudgement().GetVerdict()), severity.Of(asked.GetMost())):
		return "verdict"
	case len(sub.GetCorridor().GetOutside()) > 0:
		return "cells"
	case ReturnedLike(j, sub) != nil:
		return "returned"
	}
	return ""
}

// ReturnedLike is the first submission of a job with the same image as another that somebody returned: no corridor's yes takes
// that back. Nil for none.
func ReturnedLike(j *recordv1.Job, sub *recordv1.Submission) *recordv1.Submission {
	for _, other := range j.GetSubmissions() {
		if other.GetState() == Returned && other.GetImage().GetSha256() == sub.GetImage().GetSha256() {
			return other
		}
	}
	return nil
}

// inCorridor wants a submission to say how it lies to the corridor that covers now, and nothing where none does.
func (d *decision) inCorridor(j *recordv1.Job, said *recordv1.InCorridor) error {
	const at = "submission.corridor"
	c := d.covering(j)
	switch {
	case c == nil && said == nil:
		return nil
	case c == nil:
		why := "no corridor is open"
		if ended := OpenIn(j); ended != nil {
			why = CorridorName(ended) + " covers nothing more, " + d.Ended(j, ended)
		}
		return refuse(ReasonCorridor, at, "", "%s: %s; submit again, it will wait to be signed", at, why)
	case said.GetCorridor() != c.GetNumber():
		return refuse(ReasonCorridor, at, fmt.Sprint(c.GetNumber()), "%s: %s covers now; submit again, it will be released at once if it lies inside", at, CorridorName(c))
	}
	return checkOutside(said)
}

// maxOutside bounds how many places are named, and maxAt of how many numbers one is.
const (
	maxOutside = 8
	maxAt      = 3
)

func checkOutside(said *recordv1.InCorridor) error {
	const at = "submission.corridor.outside"
	if n := len(said.GetOutside()); n > maxOutside || n < maxOutside && said.GetMore() > 0 {
		return badValue(at, "at most 8, and how many more only beside 8", "there are %d and %d more", n, said.GetMore())
	}
	for _, o := range said.GetOutside() {
		if err := checkOneOf(at+".what", o.GetWhat(), "cell", "table", "axis", "bytes"); err != nil {
			return err
		}
		if len(o.GetAt()) > maxAt {
			return badValue(at+".at", "at most 3 numbers", "there are %d", len(o.GetAt()))
		}
		if o.GetWhat() == "bytes" && o.GetTable() == "" {
			continue
		}
		if err := checkLine(at+".table", o.GetTable(), maxShort); err != nil {
			return err
		}
	}
	return nil
}

// Approved is what was said yes to of a submission, and the entry that says it: its sign-off, or where a
// corridor's is all there is, the opening of that. Nothing where there is no yes, or it was voided.
func Approved(j *recordv1.Job, sub *recordv1.Submission) (signed *recordv1.Judgement, yes *recordv1.Event, by *recordv1.Corridor) {
	switch c := CorridorOf(j, sub.GetByCorridor()); {
	case sub.GetVoided():
		return nil, nil, nil
	case sub.GetSignOff() != nil:
		return sub.GetSignOff().GetJudgement(), sub.GetSigned(), nil
	case c != nil:
		return sub.GetJudgement(), c.GetOpened(), c
	}
	return nil, nil, nil
}

// onlyCorridor says whether nobody but a corridor said yes to a release.
func onlyCorridor(sub *recordv1.Submission) bool {
	return IsRelease(sub) && sub.GetByCorridor() != 0 && sub.GetSignOff() == nil
}

// releasedBy is the entry that made a submission a release: its newest sign-off, or itself; 0 for none.
func releasedBy(sub *recordv1.Submission) uint32 {
	if sub.GetSignOff() == nil && sub.GetByCorridor() != 0 {
		return sub.GetSubmitted().GetEntry()
	}
	return sub.GetSigned().GetEntry()
}
