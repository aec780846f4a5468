package record

import (
	"slices"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
)

var addRun = &kind{
	name:   "run",
	target: latestOf("run"),
	decide: func(d *decision) error {
		r := d.action.GetRun()
		if err := checkOneOf("run.when", r.GetWhen(), "before", "after"); err != nil {
			return err
		}
		if err := checkHash("run.file_sha256", r.GetFileSha256()); err != nil {
			return err
		}
		if r.GetCheckSha256() != "" {
			if err := checkHash("run.check_sha256", r.GetCheckSha256()); err != nil {
				return err
			}
		} else if r.GetDanger() {
			return badValue("run.danger", "false, or the check that says so", "nothing says so")
		}
		if err := checkHash("run.channels_sha256", r.GetChannelsSha256()); err != nil {
			return err
		}
		return checkRunOf(d.job(r.GetJob()), r.GetOf())
	},
	apply: func(c *change) {
		r := c.action.GetRun()
		n := uint32(0)
		c.changeJob(r.GetJob(), func(j *recordv1.Job) {
			n = uint32(len(j.GetRuns()) + 1)
			j.Runs = append(j.Runs, &recordv1.Run{
				Number: n, When: r.GetWhen(), FileSha256: r.GetFileSha256(), ChannelsSha256: r.GetChannelsSha256(),
				FileName: shut(r.GetFileName()), Danger: r.GetDanger(), CheckSha256: r.GetCheckSha256(), Added: c.event, Of: r.GetOf(),
			})
		})
		words := ""
		if r.GetOf() != "" {
			words = " of " + r.GetOf()
		}
		c.tell(r.GetJob(), 0, "", "", "run %d%s added, %s", n, words, r.GetWhen())
	},
	brings: func(a *recordv1.Action) []Brought {
		r := a.GetRun()
		return []Brought{
			{SHA256: r.GetFileSha256(), What: ARun}, {SHA256: r.GetChannelsSha256(), What: ARun}, {SHA256: r.GetCheckSha256(), What: AReport},
		}
	},
}

// checkRunOf wants what was in the car to be a read of the job, or a submission that was collected; empty says nothing.
func checkRunOf(j *recordv1.Job, text string) error {
	const at, allowed = "run.of", "a read that is not voided, or a submission that was collected, of this job"
	if text == "" {
		return nil
	}
	of, err := ParseName(text)
	switch {
	case err != nil || of.Job != j.GetNumber():
		return badValue(at, allowed, "%q is none", short(text))
	case of.Part == ARead:
		if r := nth(j.GetReads(), of.N); r != nil && r.GetVoided() == nil {
			return nil
		}
	case of.Part == ASubmission:
		if slices.ContainsFunc(j.GetCollections(), func(c *recordv1.Collection) bool { return c.GetSubmission() == of.N }) {
			return nil
		}
	}
	return refuse(ReasonNotFound, at, "", "%s: %s was never in the car, as far as job %d says; allowed: %s", at, of, j.GetNumber(), allowed)
}

// PresumedIn is the image of a job that is in its car as far as the job says: what was collected last, where
// nothing was read or read back since, else what the ledger knows. False where that is nothing, or another job's.
func (s *State) PresumedIn(job uint32) (Name, bool) {
	j := s.job(job)
	told, taken, by := uint32(0), (*recordv1.Collection)(nil), j
	for _, n := range s.carJobs(j.GetCar()) {
		other := s.job(n)
		told = max(told, lastRead(other))
		for _, b := range other.GetReadBacks() {
			told = max(told, b.GetAdded().GetEntry())
		}
		if list := other.GetCollections(); len(list) > 0 && list[len(list)-1].GetCollected().GetEntry() > taken.GetCollected().GetEntry() {
			taken, by = list[len(list)-1], other
		}
	}
	if taken.GetCollected().GetEntry() > told {
		return imageOf(by, taken.GetSubmission()), by == j
	}
	in := s.InCar(j.GetCar())
	if !in.GetKnown() || in.GetJob() != job {
		return Name{}, false
	}
	for _, r := range j.GetReads() {
		if in.GetSubmission() == 0 && r.GetAdded().GetEntry() == in.GetSince().GetEntry() {
			return Name{job, ARead, r.GetNumber()}, true
		}
	}
	return imageOf(j, in.GetSubmission()), true
}
