package server

import (
	"fmt"

	"google.golang.org/protobuf/proto"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/tables/compare"
	"witnessmark/tables/definition"
)

func warnings(r *calibrationv1.Report) []string { return compare.Warnings(r) }

// read: the image is the definition's and the car's; the first one of a job is judged by
// itself; what the ledger said was last in the car is compared with it.
func (f *finder) read(a *recordv1.AddRead) error {
	j, err := f.jobOf(a.GetJob())
	if err != nil {
		return err
	}
	lay, err := f.c.layout("definition "+j.GetDefinition().GetName(), j.GetDefinition().GetSha256())
	if err != nil {
		return err
	}
	pic, err := f.arriving("image", a.GetImage(), lay)
	if err != nil {
		return err
	}
	if err := lay.Identify(pic.data); err != nil {
		return refused("identity", "image", "an image of definition "+lay.Name, "the image is not one of definition %s: %s", lay.Name, oneLine(err)).because(err)
	}
	if err := f.frameFault(j, lay, pic.data); err != nil {
		return err
	}
	f.keep(pic.sha, originalSHA(j), pic.data)
	switch {
	case len(j.GetReads()) == 0 && a.GetCheck() == nil:
		return refused("no-check", "check", "", "the first read of a job is judged by itself: check is missing")
	case len(j.GetReads()) > 0 && a.GetCheck() != nil:
		return refused("check-not-wanted", "check", "", "only the first read of a job has a check")
	case a.GetCheck() != nil:
		if err := f.check(j, a.GetCheck(), pic); err != nil {
			return err
		}
	}
	return f.lastKnown(j, a.GetLastKnown(), pic)
}

func originalSHA(j *recordv1.Job) string {
	if len(j.GetReads()) == 0 {
		return ""
	}
	return j.GetReads()[0].GetImage().GetSha256()
}

func (f *finder) check(j *recordv1.Job, check *recordv1.Judgement, pic *picture) error {
	lay, lim, err := f.documents(check.GetDefinition(), check.GetLimits())
	if err != nil {
		return err
	}
	if err := f.ofJob(j, check); err != nil {
		return err
	}
	return f.judged("check", check, &question{candidate: pic, layout: lay, limits: lim, job: jobFacts(j)})
}

// ofJob says whether a judgement is by the documents, in whatever revision, of its job.
func (f *finder) ofJob(j *recordv1.Job, by *recordv1.Judgement) error {
	if by.GetDefinition().GetName() != j.GetDefinition().GetName() || by.GetLimits().GetName() != j.GetLimits().GetName() {
		return refused("other-documents", "judgement", j.GetDefinition().GetName()+", "+j.GetLimits().GetName(),
			"job %d is judged by definition %s and limits %s", j.GetNumber(), j.GetDefinition().GetName(), j.GetLimits().GetName())
	}
	return nil
}

func (f *finder) lastKnown(j *recordv1.Job, last *recordv1.LastKnown, found *picture) error {
	in, ok := f.v.InCar(j.GetCar())
	switch {
	case !ok && last == nil:
		return nil
	case !ok:
		return refused("last-known", "last_known", "left out", "this car has not been in before: last_known must be left out")
	case last == nil:
		return refused("last-known", "last_known", "", "this car has been in before: last_known must say how the read compares with job %d", in.GetJob())
	case last.GetJob() != in.GetJob() || last.GetSubmission() != in.GetSubmission() || last.GetImageSha256() != in.GetImageSha256():
		return refused("last-known", "last_known", fmt.Sprintf("job %d, submission %d", in.GetJob(), in.GetSubmission()),
			"last in this car was submission %d of job %d (image %s)", in.GetSubmission(), in.GetJob(), short(in.GetImageSha256()))
	}
	return f.comparedWithLast(j, last, in, found)
}

// comparedWithLast: the image that was last in the car is looked at as its own job did. A
// report is of one definition, so there is none where those of the two jobs differ.
func (f *finder) comparedWithLast(j *recordv1.Job, last *recordv1.LastKnown, in *recordv1.InCar, found *picture) error {
	before, err := f.jobOf(in.GetJob())
	if err != nil {
		return err
	}
	lay, err := f.c.layout("definition "+before.GetDefinition().GetName(), before.GetDefinition().GetSha256())
	if err != nil {
		return err
	}
	was := imageIn(before, in.GetImageSha256())
	if was == nil {
		return fmt.Errorf("job %d has no image %s, which is in the car", before.GetNumber(), short(in.GetImageSha256()))
	}
	written, err := f.arriving("last_known.image_sha256", was, lay)
	if err != nil {
		return err
	}
	same, why := false, "(the images have other sizes)"
	if len(written.data) == len(found.data) {
		same, why = compare.SameInCar(lay, written.side(), found.side())
	}
	if same != last.GetSame() {
		return refused("last-known", "last_known.same", fmt.Sprint(same), "last_known says same is %t; it is %t %s", last.GetSame(), same, why)
	}
	oneDefinition := before.GetDefinition().GetSha256() == j.GetDefinition().GetSha256()
	switch sha := last.GetReportSha256(); {
	case sha == "" && !same && oneDefinition:
		return refused("no-report", "last_known.report_sha256", "", "the read differs from what was last in the car: the report that says how is missing")
	case sha == "":
		return nil
	case !oneDefinition:
		return refused("last-known", "last_known.report_sha256", "left out", "the definitions of the two jobs differ: there is no report")
	default:
		return f.declared("last_known.report_sha256", sha, j, lay, written, found)
	}
}

// imageIn is the image of that hash as a job first met it: the same bytes can come in files
// that hold different ranges, and reports name gaps, so whoever compares has to take the same one.
func imageIn(j *recordv1.Job, sha string) *recordv1.Image {
	var all []*recordv1.Image
	for _, r := range j.GetReads() {
		all = append(all, r.GetImage())
	}
	for _, s := range j.GetSubmissions() {
		all = append(all, s.GetImage())
	}
	for _, b := range j.GetReadBacks() {
		all = append(all, b.GetImage())
	}
	for _, im := range all {
		if im != nil && im.GetSha256() == sha {
			return im
		}
	}
	return nil
}

// declared checks a report that is not a judgement: it may be by the job's limits or by
// none, with the job's facts or without, and says which itself.
func (f *finder) declared(at, sha string, j *recordv1.Job, lay *definition.Layout, base, candidate *picture) error {
	claimed, err := f.c.report(at, sha)
	if err != nil {
		return err
	}
	q := &question{base: base, candidate: candidate, layout: lay}
	if l := claimed.GetLimits(); l != nil {
		doc, ok := f.v.Document(kindLimits, l.GetSha256())
		if !ok || doc.GetName() != j.GetLimits().GetName() {
			return refused("other-documents", at, j.GetLimits().GetName(), "%s: the report is by other limits than job %d's", at, j.GetNumber())
		}
		if q.limits, err = f.c.limitsOf("limits "+doc.GetName(), doc.GetSha256()); err != nil {
			return err
		}
	}
	if claimed.GetJob() != nil {
		if !proto.Equal(claimed.GetJob(), jobFacts(j)) {
			return refused("report-differs", at, "", "%s: the report has other job facts than job %d", at, j.GetNumber())
		}
		q.job = jobFacts(j)
	}
	if _, err := f.c.sameReport(at, sha, q); err != nil {
		return err
	}
	return f.take(at, sha, "")
}

// submission: the judgement is what comparing the image with the original gives.
func (f *finder) submission(a *recordv1.Submit) error {
	j, err := f.jobOf(a.GetJob())
	if err != nil {
		return err
	}
	orig, err := original(j)
	if err != nil {
		return err
	}
	if a.GetBaseSha256() != orig.GetImage().GetSha256() {
		return refused("base-differs", "base_sha256", orig.GetImage().GetSha256(), "the base of a submission is the job's original, %s", short(orig.GetImage().GetSha256()))
	}
	q, err := f.ofSubmission(j, a.GetJudgement(), a.GetImage(), a.GetMeantGiven(), a.GetMeant())
	if err != nil {
		return err
	}
	f.keep(q.candidate.sha, q.base.sha, q.candidate.data)
	return f.judged("judgement", a.GetJudgement(), q)
}

// ofSubmission is the question that a judgement of a submission answers.
func (f *finder) ofSubmission(j *recordv1.Job, by *recordv1.Judgement, im *recordv1.Image, meantGiven bool, meant []string) (*question, error) {
	lay, lim, err := f.documents(by.GetDefinition(), by.GetLimits())
	if err != nil {
		return nil, err
	}
	if err := f.ofJob(j, by); err != nil {
		return nil, err
	}
	orig, err := original(j)
	if err != nil {
		return nil, err
	}
	cand, err := f.arriving("image", im, lay)
	if err != nil {
		return nil, err
	}
	base, err := f.arriving("original", orig.GetImage(), lay)
	if err != nil {
		return nil, err
	}
	return &question{base: base, candidate: cand, layout: lay, limits: lim, meantGiven: meantGiven, meant: meant, job: jobFacts(j)}, nil
}

// judgedAgain: a sign-off or collection carries the judgement by the newest revisions.
func (f *finder) judgedAgain(job, submission uint32, by *recordv1.Judgement) error {
	j, err := f.jobOf(job)
	if err != nil {
		return err
	}
	s, ok := f.v.Submission(job, submission)
	if !ok {
		return refused("no-submission", "submission", "", "there is no submission %d.%d", job, submission)
	}
	if by == nil {
		return refused("no-judgement", "judgement", "", "the judgement is missing")
	}
	q, err := f.ofSubmission(j, by, s.GetImage(), s.GetMeantGiven(), s.GetMeant())
	if err != nil {
		return err
	}
	for kind, rev := range map[string]*recordv1.Revision{kindDefinition: by.GetDefinition(), kindLimits: by.GetLimits()} {
		if doc, ok := f.v.Newest(kind, rev.GetName()); ok && doc.GetSha256() != rev.GetSha256() {
			return refused("newer-revision", kind, fmt.Sprintf("revision %d", doc.GetRevision()), "%s %s has a newer revision, %d: compare again with it", kind, rev.GetName(), doc.GetRevision())
		}
	}
	return f.judged("judgement", by, q)
}

// readBack: whether what was found is what was written is recomputed.
func (f *finder) readBack(a *recordv1.AddReadback) error {
	if a.GetImage() == nil {
		return nil // the rules ask for the reason why
	}
	j, err := f.jobOf(a.GetJob())
	if err != nil {
		return err
	}
	lay, err := f.c.layout("definition "+j.GetDefinition().GetName(), j.GetDefinition().GetSha256())
	if err != nil {
		return err
	}
	orig, err := original(j)
	if err != nil {
		return err
	}
	was := orig.GetImage()
	if n := a.GetSubmission(); n != 0 {
		s, ok := f.v.Submission(a.GetJob(), n)
		if !ok {
			return refused("no-submission", "submission", "", "there is no submission %d.%d", a.GetJob(), n)
		}
		was = s.GetImage()
	}
	written, err := f.arriving("written", imageIn(j, was.GetSha256()), lay)
	if err != nil {
		return err
	}
	found, err := f.arriving("image", a.GetImage(), lay)
	if err != nil {
		return err
	}
	same, why := compare.SameInCar(lay, written.side(), found.side())
	if same != a.GetMatches() {
		return refused("match-differs", "matches", fmt.Sprint(same), "the action says that the read-back matches: %t; it is %t %s", a.GetMatches(), same, why)
	}
	f.keep(found.sha, orig.GetImage().GetSha256(), found.data)
	if a.GetReportSha256() == "" {
		if same {
			return nil
		}
		return refused("no-report", "report_sha256", "", "the read-back differs from what was written: the report that says how is missing")
	}
	return f.declared("report_sha256", a.GetReportSha256(), j, lay, written, found)
}
