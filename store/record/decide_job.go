package record

import (
	"strings"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
)

// job finds job n; nil where there is none.
func (s *State) job(n uint32) *job {
	if n == 0 || uint64(n) > uint64(len(s.jobs)) {
		return nil
	}
	return s.jobs[n-1]
}

// jobAt finds the job that an action names.
func (s *State) jobAt(at string, n uint32) (*job, error) {
	if j := s.job(n); j != nil {
		return j, nil
	}
	return nil, refuse(ReasonNotFound, at, "", "%s: there is no job %d; allowed: 1 to %d", at, n, len(s.jobs))
}

// jobWithOriginal finds a job whose first read is there.
func (s *State) jobWithOriginal(at string, n uint32) (*job, error) {
	j, err := s.jobAt(at, n)
	if err != nil {
		return nil, err
	}
	if j.original() == nil {
		return nil, refuse(ReasonNoOriginal, at, "", "job %d has no original yet; add a read first", n)
	}
	return j, nil
}

// original is the image of the job's first read; nil where there is none yet.
func (j *job) original() *recordv1.Image {
	if len(j.msg.GetReads()) == 0 {
		return nil
	}
	return j.msg.GetReads()[0].GetImage()
}

func (d *decision) openJob() error {
	o := d.action.GetJob()
	if err := checkLine("job.car", o.GetCar(), maxShort); err != nil {
		return err
	}
	if NormalPlate(o.GetCar()) == "" {
		return badValue("job.car", "a plate", "%q has neither letter nor digit", o.GetCar())
	}
	if o.GetFrameDigest() != "" {
		if err := checkHash("job.frame_digest", o.GetFrameDigest()); err != nil {
			return err
		}
	}
	if err := d.newestAt("job.definition", kindDefinition, "", o.GetDefinition()); err != nil {
		return err
	}
	if err := d.newestAt("job.limits", kindLimits, "", o.GetLimits()); err != nil {
		return err
	}
	if err := checkJobTexts(o); err != nil {
		return err
	}
	if fuels := o.GetLimitsFuel(); len(fuels) > 0 && !contains(fuels, o.GetFuel()) && !d.who.has(lead) {
		return refuse(ReasonFuel, "job.fuel", strings.Join(fuels, ", "),
			"job.fuel: %s is for %s, not for %q; a lead can open the job, or take other limits", o.GetLimits().GetName(), strings.Join(fuels, ", "), o.GetFuel())
	}
	return nil
}

func checkJobTexts(o *recordv1.OpenJob) error {
	if o.GetFuel() != "" {
		if err := checkLine("job.fuel", o.GetFuel(), maxShort); err != nil {
			return err
		}
	}
	if len(o.GetParts()) > maxParts || len(o.GetLimitsFuel()) > maxParts {
		return badValue("job.parts", "at most 100 parts, and 100 fuels", "there are more")
	}
	for _, p := range o.GetParts() {
		if err := checkLine("job.parts", p, maxShort); err != nil {
			return err
		}
	}
	for _, f := range o.GetLimitsFuel() {
		if err := checkLine("job.limits_fuel", f, maxShort); err != nil {
			return err
		}
	}
	if err := checkNumbers("job.numbers", o.GetNumbers()); err != nil {
		return err
	}
	return checkText("job.note", o.GetNote(), maxText)
}

// newestAt wants r to be the newest revision of its name; name, where given, is the one it must have.
func (s *State) newestAt(at, kind, name string, r *recordv1.Revision) error {
	if name != "" && r.GetName() != name {
		return refuse(ReasonBadValue, at+".name", name, "%s.name: is %q; allowed: the job's, %s", at, short(r.GetName()), name)
	}
	doc := s.documents[kind].newest[r.GetName()]
	if doc == nil {
		return refuse(ReasonNotFound, at+".name", "", "%s.name: there is no %s called %q", at, kind, short(r.GetName()))
	}
	if r.GetSha256() != doc.GetSha256() {
		return refuse(ReasonOlderRevision, at+".sha256", doc.GetSha256(),
			"%s.sha256: %q is not the newest revision of %s; allowed: revision %d, %s", at, short(r.GetSha256()), r.GetName(), doc.GetRevision(), doc.GetSha256())
	}
	return nil
}

// verdictRank orders verdicts.
var verdictRank = map[string]int{"clear": 0, "notice": 1, "caution": 2, "warning": 3, "danger": 4}

// judgement wants a judgement of the job by the newest revisions of its definition and limits.
func (d *decision) judgement(at string, j *job, jd *recordv1.Judgement) error {
	if jd == nil {
		return badValue(at, "what the report said", "missing")
	}
	if err := d.newestAt(at+".definition", kindDefinition, j.msg.GetDefinition().GetName(), jd.GetDefinition()); err != nil {
		return err
	}
	if err := d.newestAt(at+".limits", kindLimits, j.msg.GetLimits().GetName(), jd.GetLimits()); err != nil {
		return err
	}
	if err := checkHash(at+".report_sha256", jd.GetReportSha256()); err != nil {
		return err
	}
	if err := checkOneOf(at+".verdict", jd.GetVerdict(), "clear", "notice", "caution", "warning", "danger"); err != nil {
		return err
	}
	return checkWarnings(at+".warnings", jd)
}

// checkWarnings wants sorted keys, and a verdict that fits them: a warning counts, so that there
// is none below the verdict `warning`, and at least one at it.
func checkWarnings(at string, jd *recordv1.Judgement) error {
	keys := jd.GetWarnings()
	if len(keys) > maxKeys {
		return badValue(at, "at most 10000", "there are %d", len(keys))
	}
	for i, k := range keys {
		if err := checkLine(at, k, maxShort); err != nil {
			return err
		}
		if i > 0 && k < keys[i-1] {
			return badValue(at, "sorted keys", "%q comes after %q", k, keys[i-1])
		}
	}
	rank := verdictRank[jd.GetVerdict()]
	if (rank < verdictRank["warning"] && len(keys) > 0) || (jd.GetVerdict() == "warning" && len(keys) == 0) {
		return badValue(at, "some with the verdict warning, none below it", "there are %d with the verdict %s", len(keys), jd.GetVerdict())
	}
	return nil
}

func (d *decision) read() error {
	r := d.action.GetRead()
	j, err := d.jobAt("read.job", r.GetJob())
	if err != nil {
		return err
	}
	if err := checkImage("read.image", r.GetImage()); err != nil {
		return err
	}
	if j.original() == nil {
		err = d.judgement("read.check", j, r.GetCheck())
	} else if r.GetCheck() != nil {
		err = badValue("read.check", "nothing", "job %d has its original already, and only that one is judged by itself", r.GetJob())
	}
	if err != nil {
		return err
	}
	return d.lastKnown(j, r.GetLastKnown())
}

// lastKnown wants a read to be compared with exactly what was last in the car.
func (d *decision) lastKnown(j *job, lk *recordv1.LastKnown) error {
	in := j.car.inCar
	if in == nil {
		if lk != nil {
			return refuse(ReasonLastKnown, "read.last_known", "", "read.last_known: the ledger does not know what was last in %s; allowed: nothing", j.msg.GetCar())
		}
		return nil
	}
	if lk.GetJob() != in.GetJob() || lk.GetSubmission() != in.GetSubmission() || lk.GetImageSha256() != in.GetImageSha256() {
		return refuse(ReasonLastKnown, "read.last_known", in.GetImageSha256(),
			"read.last_known: is not what was last in %s; allowed: %d.%d, image %s", j.msg.GetCar(), in.GetJob(), in.GetSubmission(), in.GetImageSha256())
	}
	if lk.GetReportSha256() == "" {
		return nil
	}
	if lk.GetSame() {
		return badValue("read.last_known.report_sha256", "nothing", "the read is said to be the same, so that there is nothing to report")
	}
	return checkHash("read.last_known.report_sha256", lk.GetReportSha256())
}

func (d *decision) submit() error {
	sub := d.action.GetSubmission()
	j, err := d.jobWithOriginal("submission.job", sub.GetJob())
	if err != nil {
		return err
	}
	if err := checkImage("submission.image", sub.GetImage()); err != nil {
		return err
	}
	base := j.original()
	if sub.GetBaseSha256() != base.GetSha256() {
		return refuse(ReasonNotOriginal, "submission.base_sha256", base.GetSha256(),
			"submission.base_sha256: is %q; allowed: the original of job %d, %s", short(sub.GetBaseSha256()), sub.GetJob(), base.GetSha256())
	}
	if sub.GetImage().GetSize() != base.GetSize() {
		return refuse(ReasonNotOriginal, "submission.image.size", "",
			"submission.image.size: is %d; allowed: the original's, %d", sub.GetImage().GetSize(), base.GetSize())
	}
	if !sameRanges(sub.GetImage(), base) {
		return refuse(ReasonNotOriginal, "submission.image.ranges", "",
			"submission.image.ranges: the file holds other ranges than the original of job %d; allowed: the same ones", sub.GetJob())
	}
	if err := d.judgement("submission.judgement", j, sub.GetJudgement()); err != nil {
		return err
	}
	if err := checkText("submission.note", sub.GetNote(), maxText); err != nil {
		return err
	}
	return checkMeant(sub)
}

func checkMeant(sub *recordv1.Submit) error {
	if len(sub.GetMeant()) > 0 && !sub.GetMeantGiven() {
		return badValue("submission.meant", "nothing, or meant_given", "tables are named and meant_given is not set")
	}
	if len(sub.GetMeant()) > maxKeys {
		return badValue("submission.meant", "at most 10000", "there are %d", len(sub.GetMeant()))
	}
	for _, t := range sub.GetMeant() {
		if err := checkLine("submission.meant", t, maxShort); err != nil {
			return err
		}
	}
	return nil
}

func (d *decision) run() error {
	r := d.action.GetRun()
	if _, err := d.jobAt("run.job", r.GetJob()); err != nil {
		return err
	}
	if err := checkOneOf("run.when", r.GetWhen(), "before", "after"); err != nil {
		return err
	}
	if err := checkHash("run.file_sha256", r.GetFileSha256()); err != nil {
		return err
	}
	return checkHash("run.channels_sha256", r.GetChannelsSha256())
}
