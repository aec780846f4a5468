package record

import (
	"google.golang.org/protobuf/proto"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
)

// Release is what can be collected of a job: its newest release. A *Refusal says why there is
// none; after an entry of an unknown kind it is ErrUnknownKind, since that may have been a recall.
func (s *State) Release(job uint32) (*recordv1.Submission, error) {
	if s.Unknown {
		return nil, ErrUnknownKind
	}
	sub, err := s.releaseOf("job", job)
	if err != nil {
		return nil, err
	}
	return proto.CloneOf(sub.msg), nil
}

func (s *State) releaseOf(at string, n uint32) (*submission, error) {
	j, err := s.jobAt(at, n)
	if err != nil {
		return nil, err
	}
	if sub := j.sub(j.release); sub != nil {
		return sub, nil
	}
	if len(j.subs) == 0 {
		return nil, refuse(ReasonNoRelease, at, "", "job %d has no release: nothing was submitted yet", n)
	}
	last := j.subs[len(j.subs)-1]
	if last.msg.GetState() == waiting && last.msg.GetVoided() {
		return nil, refuse(ReasonNoRelease, at, "", "job %d has no release: the sign-off of %s was voided, since its key was compromised", n, last.id())
	}
	return nil, refuse(ReasonNoRelease, at, "", "job %d has no release: %s is %s", n, last.id(), last.msg.GetState())
}

func (d *decision) collect() error {
	c := d.action.GetCollect()
	if err := checkOneOf("collect.car_checked_by", c.GetCarCheckedBy(), "", "fresh-read", "frame"); err != nil {
		return err
	}
	if c.GetSubmission() == 0 {
		return d.collectOriginal(c)
	}
	sub, err := d.subAt("collect", c.GetJob(), c.GetSubmission())
	if err != nil {
		return err
	}
	if !sub.isReleased() || sub.job.release != c.GetSubmission() {
		return sub.wrongState("collect.submission", "the newest release")
	}
	if err := sub.sameImage("collect", c.GetImageSha256()); err != nil {
		return err
	}
	if err := d.judgement("collect.judgement", sub.job, c.GetJudgement()); err != nil {
		return err
	}
	signed := sub.msg.GetSignOff().GetJudgement()
	if what := worse(signed, c.GetJudgement()); what != "" {
		return refuse(ReasonNewSignOff, what, "", "%s was signed as %s and is %s by the newest revisions (%s); it needs a new sign-off",
			sub.id(), signed.GetVerdict(), c.GetJudgement().GetVerdict(), what)
	}
	return nil
}

// collectOriginal lets the original go back at any time: it was in the car before.
func (d *decision) collectOriginal(c *recordv1.Collect) error {
	j, err := d.jobWithOriginal("collect.job", c.GetJob())
	if err != nil {
		return err
	}
	if have := j.original().GetSha256(); c.GetImageSha256() != have {
		return refuse(ReasonOtherImage, "collect.image_sha256", have, "collect.image_sha256: is %q; allowed: the original of job %d, %s", short(c.GetImageSha256()), c.GetJob(), have)
	}
	if c.GetJudgement() != nil {
		return badValue("collect.judgement", "nothing", "the original is not judged when it is collected")
	}
	return nil
}

func (d *decision) readBack() error {
	r := d.action.GetReadBack()
	j, err := d.jobAt("read_back.job", r.GetJob())
	if err != nil {
		return err
	}
	last := j.collection()
	if last == nil {
		return refuse(ReasonNotCollected, "read_back.job", "", "nothing of job %d was collected yet; collect first", r.GetJob())
	}
	if j.taken(r.GetSubmission()) == nil {
		return refuse(ReasonNotCollected, "read_back.submission", "", "read_back.submission: is %d; allowed: %d, the one that was last collected", r.GetSubmission(), last.GetSubmission())
	}
	if (r.GetImage() == nil) == (r.GetNotPossible() == "") {
		return badValue("read_back", "either an image, or why there is none", "has both or neither")
	}
	if r.GetImage() != nil {
		if err := checkImage("read_back.image", r.GetImage()); err != nil {
			return err
		}
		if r.GetReportSha256() == "" {
			return nil
		}
		return checkHash("read_back.report_sha256", r.GetReportSha256())
	}
	if r.GetMatches() || r.GetReportSha256() != "" {
		return badValue("read_back", "neither matches nor report_sha256", "nothing was read back, so that nothing can be said of it")
	}
	return checkReason("read_back.not_possible", r.GetNotPossible())
}

// collection is the newest one of the job; nil where there is none.
func (j *job) collection() *recordv1.Collection {
	if n := len(j.msg.GetCollections()); n > 0 {
		return j.msg.GetCollections()[n-1]
	}
	return nil
}

// taken is the collection of what may have been written and can be read back: the newest one, and
// before an original, which is also taken to be kept, the newest release that was collected.
func (j *job) taken(n uint32) *recordv1.Collection {
	list := j.msg.GetCollections()
	for i := len(list) - 1; i >= 0; i-- {
		switch {
		case list[i].GetSubmission() == n:
			return list[i]
		case list[i].GetSubmission() != 0:
			return nil
		}
	}
	return nil
}
