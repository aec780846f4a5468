package record

import (
	"fmt"
	"maps"
	"slices"
	"strings"

	"google.golang.org/protobuf/proto"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/tables/severity"
)

// States of a submission.
const (
	Waiting   = "waiting"
	Returned  = "returned"
	Withdrawn = "withdrawn"
	Replaced  = "replaced"
	Released  = "released"
	InCar     = "in car"
)

// SubmissionOf finds submission n of a job; nil where there is none.
func SubmissionOf(j *recordv1.Job, n uint32) *recordv1.Submission {
	if n == 0 || uint64(n) > uint64(len(j.GetSubmissions())) {
		return nil
	}
	return j.GetSubmissions()[n-1]
}

// Submission finds submission n of a job.
func (s *State) Submission(job, n uint32) (*recordv1.Submission, bool) {
	j, ok := s.Job(job)
	if !ok {
		return nil, false
	}
	sub := SubmissionOf(j, n)
	return sub, sub != nil
}

// subAt finds the submission that an action names.
func (s *State) subAt(at string, job, n uint32) (*recordv1.Submission, error) {
	j, err := s.jobAt(at+".job", job)
	if err != nil {
		return nil, err
	}
	if sub := SubmissionOf(j, n); sub != nil {
		return sub, nil
	}
	return nil, refuse(ReasonNotFound, at+".submission", "", "%s.submission: job %d has no submission %d; allowed: 1 to %d", at, job, n, len(j.GetSubmissions()))
}

// subName is what people call a submission.
func subName(sub *recordv1.Submission) string {
	return fmt.Sprintf("%d.%d", sub.GetJob(), sub.GetNumber())
}

func author(sub *recordv1.Submission) string { return sub.GetSubmitted().GetPerson() }

// IsRelease says whether a submission was released and not recalled since.
func IsRelease(sub *recordv1.Submission) bool {
	return sub.GetState() == Released || sub.GetState() == InCar
}

// wrongState refuses with what became of the submission.
func (s *State) wrongState(sub *recordv1.Submission, at, wanted string) error {
	text := sub.GetState()
	switch sub.GetState() {
	case Returned:
		text = "returned by " + sub.GetReturned().GetPerson()
	case Replaced:
		if kept := CorridorOf(s.job(sub.GetJob()), sub.GetByCorridor()).GetKept(); kept != 0 && !sub.GetVoided() {
			text = fmt.Sprintf("replaced by %s, which was kept", written(sub.GetJob(), kept))
			break
		}
		for _, newer := range s.job(sub.GetJob()).GetSubmissions()[sub.GetNumber():] {
			if author(newer) == author(sub) {
				text = "replaced by " + subName(newer)
				break
			}
		}
	}
	return refuse(ReasonState, at, wanted, "%s is %s; allowed: %s", subName(sub), text, wanted)
}

func sameImage(sub *recordv1.Submission, at, sha256 string) error {
	if have := sub.GetImage().GetSha256(); sha256 != have {
		return refuse(ReasonOtherImage, at+".image_sha256", have, "%s.image_sha256: is %q; allowed: the image of %s, %s", at, short(sha256), subName(sub), have)
	}
	return nil
}

// Release is what a job's `collect` takes where nobody says which: the newest release, if a corridor made
// it one or one author has releases in the job. The error is a *Refusal that says why there is none, or which there are.
func (s *State) Release(job uint32) (*recordv1.Submission, error) {
	if s.Unapplied() {
		return nil, ErrUnknownKind
	}
	j, err := s.jobAt("job", job)
	if err != nil {
		return nil, err
	}
	var newest *recordv1.Submission
	var names []string
	authors := map[string]bool{}
	for _, sub := range j.GetSubmissions() {
		if IsRelease(sub) {
			newest, names = sub, append(names, subName(sub))
			authors[author(sub)] = true
		}
	}
	switch {
	case len(authors) > 1 && newest.GetByCorridor() == 0:
		return nil, refuse(ReasonNoRelease, "job", strings.Join(names, ", "), "job %d has releases of several authors; say which: %s", job, strings.Join(names, ", "))
	case newest != nil:
		newest, _ = s.Submission(job, newest.GetNumber())
		return newest, nil
	case len(j.GetSubmissions()) == 0:
		return nil, refuse(ReasonNoRelease, "job", "", "job %d has no release: nothing was submitted yet", job)
	}
	last := j.GetSubmissions()[len(j.GetSubmissions())-1]
	if last.GetState() == Waiting && last.GetVoided() {
		return nil, refuse(ReasonNoRelease, "job", "", "job %d has no release: the yes to %s was voided, since a key that it rests on was compromised", job, subName(last))
	}
	return nil, refuse(ReasonNoRelease, "job", "", "job %d has no release: %s is %s", job, subName(last), last.GetState())
}

// judgement wants a judgement of the job by the newest revisions of its definition and limits, and
// by what the job says now; base is the image that it was compared with, empty for a check.
func (d *decision) judgement(at string, j *recordv1.Job, base string, jd *recordv1.Judgement) error {
	if jd == nil {
		return badValue(at, "what the report said", "missing")
	}
	if err := d.byNow(at, j, jd); err != nil {
		return err
	}
	if jd.GetBaseSha256() != base {
		return refuse(ReasonNotAsFound, at+".base_sha256", base, "%s.base_sha256: is %q; allowed: the read as found of job %d, %s", at, short(jd.GetBaseSha256()), j.GetNumber(), base)
	}
	if jd.GetAsFoundSha256() != "" {
		if err := checkHash(at+".as_found_sha256", jd.GetAsFoundSha256()); err != nil {
			return err
		}
	}
	for _, run := range jd.GetRunSha256() {
		if !slices.ContainsFunc(j.GetRuns(), func(r *recordv1.Run) bool { return r.GetFileSha256() == run }) {
			return refuse(ReasonNotFound, at+".run_sha256", "", "%s.run_sha256: job %d has no run %q", at, j.GetNumber(), short(run))
		}
	}
	if err := checkHash(at+".report_sha256", jd.GetReportSha256()); err != nil {
		return err
	}
	return checkOutcome(at, jd.GetVerdict(), jd.GetWarnings())
}

// facts are what a job is judged by; a judgement names them, and so does a corridor.
type facts interface {
	GetDefinition() *recordv1.Revision
	GetLimits() *recordv1.Revision
	GetFuel() string
	GetNumbers() map[string]string
}

// byNow wants the newest revisions of a job's definition and limits, and its fuel and numbers.
func (s *State) byNow(at string, j *recordv1.Job, f facts) error {
	if err := s.newestAt(at+".definition", Definitions, j.GetDefinition().GetName(), f.GetDefinition()); err != nil {
		return err
	}
	if err := s.newestAt(at+".limits", Limits, j.GetLimits().GetName(), f.GetLimits()); err != nil {
		return err
	}
	if f.GetFuel() != j.GetFuel() || !maps.Equal(f.GetNumbers(), j.GetNumbers()) {
		return refuse(ReasonOtherInputs, at, "", "%s: is by another fuel or other numbers than job %d has; compare again", at, j.GetNumber())
	}
	return nil
}

// checkOutcome wants a verdict, and sorted warnings that fit it: a warning counts, so that there is
// none below the verdict `warning`, and at least one at it.
func checkOutcome(at, verdict string, warnings []string) error {
	if err := checkOneOf(at+".verdict", verdict, severity.Words()...); err != nil {
		return err
	}
	if len(warnings) > maxKeys {
		return badValue(at+".warnings", "at most 10000", "there are %d", len(warnings))
	}
	for i, k := range warnings {
		if err := checkLine(at+".warnings", k, maxShort); err != nil {
			return err
		}
		if i > 0 && k < warnings[i-1] {
			return badValue(at+".warnings", "sorted keys", "%q comes after %q", k, warnings[i-1])
		}
	}
	level := severity.Of(verdict)
	if !level.AtLeast(severity.Warning) && len(warnings) > 0 || level == severity.Warning && len(warnings) == 0 {
		return badValue(at+".warnings", "some with the verdict warning, none below it", "there are %d with the verdict %s", len(warnings), verdict)
	}
	return nil
}

// SameInputs says whether two judgements were made from the same things.
func SameInputs(a, b *recordv1.Judgement) bool {
	x, y := proto.CloneOf(a), proto.CloneOf(b)
	for _, j := range []*recordv1.Judgement{x, y} {
		j.ReportSha256, j.Verdict, j.Warnings = "", "", nil
	}
	return proto.Equal(x, y)
}

// Worse says what makes a new sign-off necessary: "verdict", or the first warning that has no
// reason yet; empty where the one that was signed is enough.
func Worse(signed, now *recordv1.Judgement) string {
	if severity.Worse(severity.Of(now.GetVerdict()), severity.Of(signed.GetVerdict())) {
		return "verdict"
	}
	for _, k := range now.GetWarnings() {
		if !contains(signed.GetWarnings(), k) {
			return k
		}
	}
	return ""
}
