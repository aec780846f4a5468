package record

import recordv1 "witnessmark/proto/witnessmark/record/v1"

var addReadback = &kind{
	name: "read_back",
	// the newest collection
	target: func(s *State, a *recordv1.Action) (uint64, error) {
		j, err := s.collectedAt(a.GetReadBack())
		if err != nil {
			return 0, err
		}
		list := j.GetCollections()
		return uint64(list[len(list)-1].GetCollected().GetEntry()), nil
	},
	closed: true,
	decide: decideReadback,
	apply:  applyReadback,
	brings: func(a *recordv1.Action) []Brought {
		r := a.GetReadBack()
		return append(images(r.GetImage()), reports(r.GetReportSha256())...)
	},
}

// collectedAt finds the job of a read-back, something of which was collected.
func (s *State) collectedAt(r *recordv1.AddReadback) (*recordv1.Job, error) {
	j, err := s.jobAt("read_back.job", r.GetJob())
	if err == nil && len(j.GetCollections()) == 0 {
		err = refuse(ReasonNotCollected, "read_back.job", "", "nothing of job %d was collected yet; collect first", r.GetJob())
	}
	return j, err
}

func decideReadback(d *decision) error {
	r := d.action.GetReadBack()
	j, err := d.collectedAt(r)
	if err != nil {
		return err
	}
	collected := false
	for _, c := range j.GetCollections() {
		collected = collected || c.GetSubmission() == r.GetSubmission()
	}
	if !collected {
		return refuse(ReasonNotCollected, "read_back.submission", "", "read_back.submission: %s was never collected; allowed: what was", written(r.GetJob(), r.GetSubmission()))
	}
	if (r.GetImage() == nil) == (r.GetNotPossible() == "") {
		return badValue("read_back", "either an image, or why there is none", "has both or neither")
	}
	if r.GetImage() == nil {
		if r.GetMatches() || r.GetReportSha256() != "" {
			return badValue("read_back", "neither matches nor report_sha256", "nothing was read back, so that nothing can be said of it")
		}
		return checkReason("read_back.not_possible", r.GetNotPossible())
	}
	if err := checkImage("read_back.image", r.GetImage()); err != nil {
		return err
	}
	if r.GetMatches() {
		if r.GetReportSha256() != "" {
			return badValue("read_back.report_sha256", "nothing", "the read-back is said to match, so that there is nothing to report")
		}
		return nil
	}
	return checkHash("read_back.report_sha256", r.GetReportSha256())
}

func applyReadback(c *change) {
	r := c.action.GetReadBack()
	words := " read back: it differs"
	switch {
	case r.GetNotPossible() != "":
		words = " written, not read back: " + r.GetNotPossible()
	case r.GetMatches():
		words = " read back: it matches"
	}
	image := ""
	c.changeJob(r.GetJob(), func(j *recordv1.Job) {
		if image = r.GetImage().GetSha256(); r.GetMatches() || image == "" {
			image = writtenImage(j, r.GetSubmission()) // what it matches, outside what may differ
		}
		j.ReadBacks = append(j.ReadBacks, &recordv1.Readback{
			Number: uint32(len(j.GetReadBacks()) + 1), Submission: r.GetSubmission(), Image: r.GetImage(), NotPossible: r.GetNotPossible(),
			Matches: r.GetMatches(), ReportSha256: r.GetReportSha256(), FileName: shut(r.GetFileName()), Added: c.event,
		})
		if !r.GetMatches() {
			return
		}
		for _, sub := range j.GetSubmissions() { // one file is in a car at a time
			if IsRelease(sub) {
				sub.State = Released
				if sub.GetNumber() == r.GetSubmission() {
					sub.State = InCar
				}
			}
		}
	})
	c.tell(r.GetJob(), r.GetSubmission(), image, "", "%s%s", written(r.GetJob(), r.GetSubmission()), words)
}
