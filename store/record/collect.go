package record

import (
	"time"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
)

// readBackWithin is how long after its collection a file should have been written and read back.
const readBackWithin = 24 * time.Hour

var collect = &kind{
	name: "collect",
	// what made it a release, the sign-off or by a corridor the submission; of the read as found: its read
	target: func(s *State, a *recordv1.Action) (uint64, error) {
		c := a.GetCollect()
		if c.GetSubmission() == 0 {
			_, r, err := s.jobAsFound("collect.job", c.GetJob())
			return uint64(r.GetAdded().GetEntry()), err
		}
		sub, err := s.subAt("collect", c.GetJob(), c.GetSubmission())
		if err == nil && releasedBy(sub) == 0 {
			err = s.wrongState(sub, "collect.submission", "a release")
		}
		return uint64(releasedBy(sub)), err
	},
	decide: decideCollect,
	apply: func(c *change) {
		a := c.action.GetCollect()
		c.changeJob(a.GetJob(), func(j *recordv1.Job) {
			due := ""
			if at, err := time.Parse(time.RFC3339, c.event.GetAdmittedAt()); err == nil {
				due = at.Add(readBackWithin).UTC().Format(time.RFC3339Nano)
			}
			j.Collections = append(j.Collections, &recordv1.Collection{
				Submission: a.GetSubmission(), ImageSha256: a.GetImageSha256(), CarCheckedBy: a.GetCarCheckedBy(), Collected: c.event, Due: due,
			})
			if sub := SubmissionOf(j, a.GetSubmission()); sub != nil {
				sub.Collected = true
			}
		})
		c.tell(a.GetJob(), a.GetSubmission(), a.GetImageSha256(), a.GetJudgement().GetVerdict(), "%s collected", written(a.GetJob(), a.GetSubmission()))
	},
	brings: func(a *recordv1.Action) []Brought { return reports(a.GetCollect().GetJudgement().GetReportSha256()) },
}

func decideCollect(d *decision) error {
	c := d.action.GetCollect()
	if err := checkOneOf("collect.car_checked_by", c.GetCarCheckedBy(), "", "fresh-read", "frame"); err != nil {
		return err
	}
	if c.GetSubmission() == 0 {
		return d.collectAsFound(c)
	}
	sub, err := d.subAt("collect", c.GetJob(), c.GetSubmission())
	if err != nil {
		return err
	}
	if !IsRelease(sub) {
		return d.wrongState(sub, "collect.submission", "a release")
	}
	if err := sameImage(sub, "collect", c.GetImageSha256()); err != nil {
		return err
	}
	j := d.job(c.GetJob())
	if err := d.judgement("collect.judgement", j, AsFound(j).GetImage().GetSha256(), c.GetJudgement()); err != nil {
		return err
	}
	signed, _, _ := Approved(j, sub)
	if what := Worse(signed, c.GetJudgement()); what != "" {
		return refuse(ReasonNewSignOff, what, "", "%s was signed as %s and is %s as things are now (%s); it needs a new sign-off",
			subName(sub), signed.GetVerdict(), c.GetJudgement().GetVerdict(), what)
	}
	return nil
}

// collectAsFound lets the read as found go back at any time: it was in the car before.
func (d *decision) collectAsFound(c *recordv1.Collect) error {
	_, r, err := d.jobAsFound("collect.job", c.GetJob())
	if err != nil {
		return err
	}
	if have := r.GetImage().GetSha256(); c.GetImageSha256() != have {
		return refuse(ReasonOtherImage, "collect.image_sha256", have, "collect.image_sha256: is %q; allowed: the read as found of job %d, %s", short(c.GetImageSha256()), c.GetJob(), have)
	}
	if c.GetJudgement() != nil {
		return badValue("collect.judgement", "nothing", "the read as found is not judged when it is collected")
	}
	return nil
}
