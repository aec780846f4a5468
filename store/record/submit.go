package record

import recordv1 "witnessmark/proto/witnessmark/record/v1"

var submit = &kind{
	name: "submission",
	// the read as found
	target: func(s *State, a *recordv1.Action) (uint64, error) {
		_, r, err := s.jobAsFound("submission.job", a.GetSubmission().GetJob())
		return uint64(r.GetAdded().GetEntry()), err
	},
	decide: decideSubmit,
	apply:  applySubmit,
	brings: func(a *recordv1.Action) []Brought {
		b := a.GetSubmission()
		return append(images(b.GetImage()), reports(b.GetJudgement().GetReportSha256())...)
	},
}

func decideSubmit(d *decision) error {
	b := d.action.GetSubmission()
	j, read, err := d.jobAsFound("submission.job", b.GetJob())
	if err != nil {
		return err
	}
	if err := checkImage("submission.image", b.GetImage()); err != nil {
		return err
	}
	found := read.GetImage()
	switch {
	case b.GetImage().GetSha256() == found.GetSha256():
		return refuse(ReasonNoChange, "submission.image", "", "submission.image: it is the read as found of job %d, byte for byte; allowed: a changed image", b.GetJob())
	case b.GetImage().GetSize() != found.GetSize():
		return refuse(ReasonNotAsFound, "submission.image.size", "",
			"submission.image.size: is %d; allowed: that of the read as found, %d", b.GetImage().GetSize(), found.GetSize())
	case !sameRanges(b.GetImage(), found):
		return refuse(ReasonNotAsFound, "submission.image.ranges", "",
			"submission.image.ranges: the file holds other ranges than the read as found of job %d; allowed: the same ones", b.GetJob())
	case b.GetFrom() != 0 && SubmissionOf(j, b.GetFrom()) == nil:
		return refuse(ReasonNotFound, "submission.from", "", "submission.from: job %d has no submission %d; allowed: 0 for the read as found, or 1 to %d", b.GetJob(), b.GetFrom(), len(j.GetSubmissions()))
	}
	if err := d.judgement("submission.judgement", j, found.GetSha256(), b.GetJudgement()); err != nil {
		return err
	}
	if err := d.inCorridor(j, b.GetCorridor()); err != nil {
		return err
	}
	return checkMeant(b)
}

func checkMeant(b *recordv1.Submit) error {
	if len(b.GetMeant()) > 0 && !b.GetMeantGiven() {
		return badValue("submission.meant", "nothing, or meant_given", "tables are named and meant_given is not set")
	}
	if len(b.GetMeant()) > maxKeys {
		return badValue("submission.meant", "at most 10000", "there are %d", len(b.GetMeant()))
	}
	for _, t := range b.GetMeant() {
		if err := checkLine("submission.meant", t, maxShort); err != nil {
			return err
		}
	}
	return nil
}

func applySubmit(c *change) {
	b := c.action.GetSubmission()
	var sub *recordv1.Submission
	c.changeJob(b.GetJob(), func(j *recordv1.Job) {
		covering := c.covering(j)
		for _, older := range j.GetSubmissions() { // of the same author: another's stays
			if older.GetState() == Waiting && author(older) == c.event.GetPerson() {
				older.State = Replaced
			}
		}
		sub = &recordv1.Submission{
			Job: b.GetJob(), Number: uint32(len(j.GetSubmissions()) + 1), State: Waiting, Image: b.GetImage(), From: b.GetFrom(),
			Judgement: b.GetJudgement(), Note: shut(b.GetNote()), FileName: shut(b.GetFileName()),
			MeantGiven: b.GetMeantGiven(), Meant: b.GetMeant(), Submitted: c.event, Latest: uint32(c.entry),
			Corridor: b.GetCorridor(),
		}
		j.Submissions = append(j.Submissions, sub)
		if covering != nil {
			c.release(j, covering, sub)
		}
	})
	switch verdict := b.GetJudgement().GetVerdict(); {
	case sub.GetByCorridor() != 0:
		c.about(sub, verdict, "%s released by corridor %d", subName(sub), sub.GetByCorridor())
	case sub.GetNotCovered() != "":
		c.about(sub, verdict, "%s submitted, not covered by corridor %d: %s", subName(sub), sub.GetCorridor().GetCorridor(), sub.GetNotCovered())
	default:
		c.about(sub, verdict, "%s submitted", subName(sub))
	}
}

// release makes a submission a release if the corridor covers it.
func (c *change) release(j *recordv1.Job, by *recordv1.Corridor, sub *recordv1.Submission) {
	if sub.NotCovered = NotCovered(j, by, sub); sub.NotCovered != "" {
		return
	}
	by.Released++
	sub.State, sub.ByCorridor = Released, by.GetNumber()
	c.signedWith(sub, by.GetSignedWith())
	c.putText(docSignedWith, join(c.keyID, sub.GetJob(), sub.GetNumber()), "") // nobody but the author saw these very bytes
}

// about tells what happened to a submission.
func (c *change) about(sub *recordv1.Submission, verdict, format string, args ...any) {
	c.tell(sub.GetJob(), sub.GetNumber(), sub.GetImage().GetSha256(), verdict, format, args...)
}

// changeSub lets fn change a submission of a job.
func (c *change) changeSub(job, n uint32, fn func(*recordv1.Submission)) *recordv1.Submission {
	c.changeJob(job, func(j *recordv1.Job) { fn(SubmissionOf(j, n)) })
	return SubmissionOf(c.job(job), n)
}
