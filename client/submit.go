package client

import (
	"context"
	"path/filepath"
	"slices"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/store/claims"
	"witnessmark/store/record"
	"witnessmark/tables/compare"
	"witnessmark/tables/definition"
	"witnessmark/tables/image"
	"witnessmark/tables/limits"
	"witnessmark/tables/reckon"
)

// NewSubmission is a modified image and what its author says about it.
type NewSubmission struct {
	Job        uint32
	Path, Note string
	Format     image.Format
	// From is the submission that its author started from; 0 is the read as found.
	From       uint32
	MeantGiven bool
	Meant      []string
	// File is what Path held when somebody looked at it; nil reads it.
	File []byte
}

// Submit compares the file with the job's read as found on the spot, and submits it.
func (c *Client) Submit(ctx context.Context, n NewSubmission) (*recordv1.Submission, *calibrationv1.Report, error) {
	d, err := c.submission(ctx, n)
	if err != nil {
		return nil, nil, err
	}
	got, err := c.act(ctx, d)
	if err != nil {
		return nil, nil, err
	}
	job, err := c.Job(n.Job)
	if err != nil {
		return nil, nil, err
	}
	// Somebody else's may have come since.
	i := slices.IndexFunc(job.GetSubmissions(), func(s *recordv1.Submission) bool { return uint64(s.GetSubmitted().GetEntry()) == got.index })
	return job.GetSubmissions()[i], got.made.Report, nil
}

// submission is a file as an action, which claims nothing yet.
func (c *Client) submission(ctx context.Context, n NewSubmission) (*deed, error) {
	job, rules, err := c.jobRules(ctx, n.Job)
	if err != nil {
		return nil, err
	}
	read, err := asFound(job)
	if err != nil {
		return nil, err
	}
	if n.File == nil {
		if n.File, err = ReadBounded(n.Path, MaxFile); err != nil {
			return nil, err
		}
	}
	im, err := rules.Layout.ReadImage(n.Path, n.File, n.Format)
	if err != nil {
		return nil, err
	}
	held, err := image.FromMessages(read.GetImage().GetRanges())
	if err == nil {
		im, err = im.Holding(held)
	}
	if err != nil {
		return nil, refused("%s: %v; allowed: what the job's read holds, no more and no less", n.Path, err)
	}
	d := &deed{}
	d.bring(n.Path, im.Bytes)
	d.action = &recordv1.Action{Body: &recordv1.Action_Submission{Submission: &recordv1.Submit{Job: n.Job, Image: im.Message(), From: n.From,
		Note: d.seal("note", n.Note), FileName: d.seal("file_name", filepath.Base(n.Path)), MeantGiven: n.MeantGiven, Meant: n.Meant}}}
	return d, nil
}

// Preview compares a file as Submit does, and sends nothing.
func (c *Client) Preview(ctx context.Context, n NewSubmission) (*Review, error) {
	d, err := c.submission(ctx, n)
	if err != nil {
		return nil, err
	}
	r := &Review{}
	if r.made, err = c.claims.Fill(source{c, ctx, d.blobs}, d.action, d.openings); err != nil {
		return nil, refusal(err)
	}
	if r.Job, err = c.Job(n.Job); err != nil {
		return nil, err
	}
	said := d.action.GetSubmission()
	r.Report, r.Judgement = r.made.Report, said.GetJudgement()
	r.Submission = &recordv1.Submission{Job: n.Job, Number: uint32(len(r.Job.GetSubmissions()) + 1), From: n.From, Image: said.GetImage(),
		Judgement: said.GetJudgement(), MeantGiven: n.MeantGiven, Meant: n.Meant, Corridor: said.GetCorridor()}
	return r, nil
}

// Review is one submission with everything that was checked about it.
type Review struct {
	Job        *recordv1.Job
	Submission *recordv1.Submission
	// Report and Judgement are as things are now; ByNewer says that these are not what the
	// submission was judged by: a newer revision, other facts of the job.
	Report    *calibrationv1.Report
	Judgement *recordv1.Judgement
	ByNewer   bool
	// Corridor is nil where none was open when it came.
	Corridor *InCorridor

	made *claims.Made
}

// Review fetches a submission's images, and compares them as things are now. Where that is how they
// were when it was submitted, what it was judged must be the same.
func (c *Client) Review(ctx context.Context, number, n uint32) (*Review, error) {
	r := &Review{}
	err := c.View(func(s *record.State) (err error) {
		if s.Unapplied() {
			return unknownEntry()
		}
		r.Job, r.Submission, err = subIn(s, number, n)
		return err
	})
	if err != nil {
		return nil, err
	}
	now := &recordv1.SignOff{Job: number, Submission: n}
	if r.made, err = c.claims.Fill(source{c: c, ctx: ctx}, &recordv1.Action{Body: &recordv1.Action_SignOff{SignOff: now}}, nil); err != nil {
		return nil, refusal(gone(r.Job, record.Name{Job: number, Part: record.ASubmission, N: n}, err))
	}
	r.Report, r.Judgement = r.made.Report, now.GetJudgement()
	if r.Corridor, err = c.inCorridor(ctx, r); err != nil {
		return nil, err
	}
	sub := r.Submission
	if r.ByNewer = !record.SameInputs(sub.GetJudgement(), r.Judgement); r.ByNewer {
		return r, nil
	}
	// A sign-off says of it what its author did, and nothing of a corridor.
	_, err = c.claims.Check(source{c: c, ctx: ctx}, &recordv1.Action{Body: &recordv1.Action_SignOff{SignOff: &recordv1.SignOff{
		Job: number, Submission: n, Judgement: sub.GetJudgement()}}}, nil)
	switch reasonOf(err) {
	case "":
		return r, err
	case claims.ReasonUpgrade:
		return nil, refusal(err)
	}
	return nil, distrust("the report of %s cannot be made again from its images, definition and limits: %v", Name(sub), err)
}

// Layout is the definition that the report was made with.
func (r *Review) Layout() *definition.Layout { return r.made.Layout }

// Limits are the limits that the report was made with.
func (r *Review) Limits() *limits.Limits { return r.made.Limits }

// Images are the two sides, flat over the definition's range.
func (r *Review) Images() (base, candidate []byte) {
	return r.made.Base.Bytes, r.made.Candidate.Bytes
}

// HasVehicleField says whether the definition has an identity field that belongs to one car, so that
// collecting needs a fresh read or the frame number.
func (r *Review) HasVehicleField() bool { return hasVehicle(r.made.Layout) }

// Between compares two reviewed submissions of a job, a as the base, by b's definition and limits.
// It is for looking: nobody signs such a report.
func Between(a, b *Review) (*calibrationv1.Report, error) {
	if a.Job.GetNumber() != b.Job.GetNumber() || a.made.Layout.SHA256 != b.made.Layout.SHA256 {
		return nil, usage("", "%s and %s are not of one job and one definition", Name(a.Submission), Name(b.Submission))
	}
	facts, err := reckon.Facts(b.Job.GetFuel(), b.Job.GetNumbers())
	if err != nil {
		return nil, err
	}
	return compare.Compare(compare.Input{Base: a.made.Candidate, Candidate: b.made.Candidate, Layout: b.made.Layout, Limits: b.made.Limits, Job: facts})
}
