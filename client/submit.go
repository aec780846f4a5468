package client

import (
	"context"
	"slices"

	"google.golang.org/protobuf/proto"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/store/record"
	"witnessmark/tables/compare"
	"witnessmark/tables/definition"
	"witnessmark/tables/image"
)

// NewSubmission is a modified image and what its author says about it.
type NewSubmission struct {
	Job        uint32
	Path, Note string
	Format     image.Format
	MeantGiven bool
	Meant      []string
}

// Submit compares the file with the job's original on the spot, and submits it.
func (c *Client) Submit(ctx context.Context, n NewSubmission) (*recordv1.Submission, *calibrationv1.Report, error) {
	if err := c.Sync(ctx); err != nil {
		return nil, nil, err
	}
	s, job, err := c.job(n.Job)
	if err != nil {
		return nil, nil, err
	}
	base, err := original(job)
	if err != nil {
		return nil, nil, err
	}
	rules, err := c.newestRules(ctx, s, job)
	if err != nil {
		return nil, nil, err
	}
	p, err := ReadFile(n.Path, n.Format, rules.Layout)
	if err != nil {
		return nil, nil, err
	}
	if err := p.sameRanges(n.Path, base.Image, rules); err != nil {
		return nil, nil, err
	}
	basePicture, err := c.picture(ctx, "original", base.Image, rules.Layout)
	if err != nil {
		return nil, nil, err
	}
	sub := &recordv1.Submit{Job: n.Job, Image: p.Image, BaseSha256: base.Image.Sha256, Note: n.Note,
		MeantGiven: n.MeantGiven, Meant: n.Meant}
	report, err := compare.Compare(compare.Input{Base: basePicture.Side(rules.Layout), Candidate: p.Side(rules.Layout),
		Layout: rules.Layout, Limits: rules.Limit, Meant: n.Meant, MeantGiven: n.MeantGiven, Job: jobFacts(job)})
	if err != nil {
		return nil, nil, err
	}
	b, judgement, err := judge(report, rules)
	if err != nil {
		return nil, nil, err
	}
	sub.Judgement = judgement
	_, err = c.act(ctx, &recordv1.Action{Body: &recordv1.Action_Submission{Submission: sub}},
		blob{n.Path, p.Bytes}, blob{"report", b})
	if err != nil {
		return nil, nil, err
	}
	_, job, err = c.job(n.Job)
	if err != nil {
		return nil, nil, err
	}
	return job.Submissions[len(job.Submissions)-1], report, nil
}

// sameRanges makes a submission hold what its read holds. A file that also fills the read's gaps
// with 0xFF, as a raw one must, says nothing there; other bytes there cannot have come from the car.
func (p *Picture) sameRanges(name string, read *recordv1.Image, rules *Rules) error {
	if slices.EqualFunc(p.Image.Ranges, read.Ranges, func(a, b *calibrationv1.AddressRange) bool { return proto.Equal(a, b) }) {
		return nil
	}
	have := p.Side(rules.Layout).Gaps
	want := (&Picture{Image: read, Bytes: p.Bytes}).Side(rules.Layout).Gaps
	for _, g := range want {
		for at := g.Start; at < g.End; at++ {
			if p.Bytes[at] != 0xFF {
				return refused("%s has a byte at 0x%x, which the job's read does not hold", name, rules.Layout.Start+at)
			}
		}
	}
	for _, g := range have {
		for _, r := range read.Ranges {
			from, to := max(uint64(r.Start), rules.Layout.Start+g.Start), min(uint64(r.End), rules.Layout.Start+g.End)
			if from < to {
				return refused("%s lacks 0x%x to 0x%x, which the job's read holds", name, from, to)
			}
		}
	}
	p.Image.Ranges = read.Ranges
	return nil
}

// Review is one submission with everything that was checked about it.
type Review struct {
	Job        *recordv1.Job
	Submission *recordv1.Submission
	Report     *calibrationv1.Report
	// Judgement is by the newest revisions; ByNewer says that they are newer than the submission's.
	Judgement *recordv1.Judgement
	ByNewer   bool

	rules     *Rules
	base      *Picture
	candidate *Picture
	report    []byte // as kept
}

// Review fetches a submission's images and report, makes the report again, and compares the two;
// with newer definitions or limits it then compares again with those.
func (c *Client) Review(ctx context.Context, number, n uint32) (*Review, error) {
	s, err := c.trusted()
	if err != nil {
		return nil, err
	}
	_, job, err := c.job(number)
	if err != nil {
		return nil, err
	}
	sub, ok := s.Submission(number, n)
	if !ok {
		return nil, usage("witnessmark job show "+itoa(number), "job %d has no submission %d", number, n)
	}
	rules, err := c.rules(ctx, sub.Judgement.GetDefinition(), sub.Judgement.GetLimits())
	if err != nil {
		return nil, err
	}
	base, candidate, err := c.pair(ctx, job, sub, rules)
	if err != nil {
		return nil, err
	}
	r := &Review{Job: job, Submission: sub, Judgement: sub.Judgement, rules: rules, base: base, candidate: candidate}
	if err := c.reproduce(ctx, r, base); err != nil {
		return nil, err
	}
	return r, c.judgeByNewest(ctx, s, r, base)
}

// Layout is the definition that the report was made with.
func (r *Review) Layout() *definition.Layout { return r.rules.Layout }

// Images are the two sides, flat over the definition's range.
func (r *Review) Images() (base, candidate []byte) { return r.base.Bytes, r.candidate.Bytes }

// reproduce makes the submission's own report again and compares it with the one that is kept.
func (c *Client) reproduce(ctx context.Context, r *Review, base *Picture) error {
	kept, err := c.download(ctx, "report", r.Submission.Judgement.GetReportSha256())
	if err != nil {
		return err
	}
	var theirs calibrationv1.Report
	if err := proto.Unmarshal(kept, &theirs); err != nil {
		return distrust("the report of %s is not a report", name(r.Submission))
	}
	if theirs.Semantics != compare.Semantics {
		return upgrade("the report of %s was made by rules number %d, and this witnessmark has number %d", name(r.Submission), theirs.Semantics, compare.Semantics)
	}
	ours, err := recompute(r, base)
	if err != nil {
		return err
	}
	j := r.Submission.Judgement
	if !proto.Equal(ours, &theirs) || ours.Verdict != j.Verdict || !slices.Equal(compare.Warnings(ours), j.Warnings) {
		return distrust("the report of %s cannot be made again from its images, definition and limits", name(r.Submission))
	}
	r.Report, r.report = ours, kept
	return nil
}

func recompute(r *Review, base *Picture) (*calibrationv1.Report, error) {
	lay := r.rules.Layout
	return compare.Compare(compare.Input{Base: base.Side(lay), Candidate: r.candidate.Side(lay), Layout: lay,
		Limits: r.rules.Limit, Meant: r.Submission.Meant, MeantGiven: r.Submission.MeantGiven, Job: jobFacts(r.Job)})
}

// judgeByNewest compares again where the definition or the limits got a newer revision.
func (c *Client) judgeByNewest(ctx context.Context, s *record.State, r *Review, base *Picture) error {
	def, lim, err := newestOf(s, r.Job)
	if err != nil {
		return err
	}
	j := r.Submission.Judgement
	if def.Sha256 == j.Definition.GetSha256() && lim.Sha256 == j.Limits.GetSha256() {
		return nil
	}
	if r.rules, err = c.rules(ctx, def, lim); err != nil {
		return err
	}
	if r.Report, err = recompute(r, base); err != nil {
		return err
	}
	r.ByNewer = true
	r.report, r.Judgement, err = judge(r.Report, r.rules)
	return err
}

// pair fetches a submission's base and image.
func (c *Client) pair(ctx context.Context, job *recordv1.Job, sub *recordv1.Submission, rules *Rules) (base, candidate *Picture, err error) {
	read, err := original(job)
	if err != nil {
		return nil, nil, err
	}
	if read.Image.GetSha256() != sub.BaseSha256 {
		return nil, nil, distrust("the base of %s is not its job's original", name(sub))
	}
	if base, err = c.picture(ctx, "original", read.Image, rules.Layout); err != nil {
		return nil, nil, err
	}
	candidate, err = c.picture(ctx, name(sub), sub.Image, rules.Layout)
	return base, candidate, err
}

// Between compares two reviewed submissions of a job, a as the base, by b's definition and limits.
// It is for looking: nobody signs such a report.
func Between(a, b *Review) (*calibrationv1.Report, error) {
	if a.Job.GetNumber() != b.Job.GetNumber() || a.rules.Layout.SHA256 != b.rules.Layout.SHA256 {
		return nil, usage("", "%s and %s are not of one job and one definition", name(a.Submission), name(b.Submission))
	}
	lay := b.rules.Layout
	return compare.Compare(compare.Input{Base: a.candidate.Side(lay), Candidate: b.candidate.Side(lay), Layout: lay,
		Limits: b.rules.Limit, Job: jobFacts(b.Job)})
}
