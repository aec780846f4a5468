package client

import (
	"context"
	"fmt"
	"os"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/store/record"
	"witnessmark/tables/compare"
	"witnessmark/tables/definition"
	"witnessmark/tables/image"
)

// Collecting is what a technician asks for.
type Collecting struct {
	Job uint32
	// Out is the file; beside it go Out.bundle.zip and Out.sheet.txt.
	Out string
	// Format is the kind of file; empty is the kind that the read came in.
	Format image.Format
	// FreshRead is an image just taken out of the car; Frame is its frame number. Either may be empty.
	FreshRead, Frame string
}

// Collected is what was written, or would be.
type Collected struct {
	Submission *recordv1.Submission
	Job        *recordv1.Job
	FileSHA256 string
	// Newer is a later submission that waits; nil if none does.
	Newer *recordv1.Submission
	Sheet string
}

// Collect writes the newest release of a job, if everything about it holds. Nothing is written
// otherwise, and the file itself comes last.
func (c *Client) Collect(ctx context.Context, q Collecting) (*Collected, error) {
	if err := c.Sync(ctx); err != nil {
		return nil, err
	}
	s, job, err := c.job(q.Job)
	if err != nil {
		return nil, err
	}
	if _, err := c.trusted(); err != nil {
		return nil, err
	}
	sub, err := s.Release(q.Job)
	if err != nil {
		return nil, refusal(err)
	}
	if err := signedRightly(s, sub); err != nil {
		return nil, err
	}
	r, err := c.Review(ctx, q.Job, sub.Number)
	if err != nil {
		return nil, err
	}
	if err := stillCovered(r); err != nil {
		return nil, err
	}
	checked, err := c.rightCar(r, q)
	if err != nil {
		return nil, err
	}
	return c.take(ctx, q, job, r, checked)
}

// signedRightly looks at a sign-off once more, from the roster: the replay has judged it when it
// came; this says who vouches, in words that the bay sheet can use.
func signedRightly(s *record.State, sub *recordv1.Submission) error {
	if sub.SignOff == nil || sub.Signed == nil {
		return distrust("%s is said to be released, and nobody signed it", name(sub))
	}
	p, ok := s.Person(sub.Signed.Person)
	switch {
	case !ok:
		return distrust("%s was signed by %s, who was never enrolled", name(sub), sub.Signed.Person)
	case sub.Voided:
		return distrust("the sign-off of %s is void: the key of %s was compromised", name(sub), p.Name)
	case sub.Signed.Person == sub.Submitted.GetPerson() && !s.Genesis.GetOnePerson():
		return distrust("%s was signed by its own author", name(sub))
	case sub.SignOff.ImageSha256 != sub.Image.GetSha256():
		return distrust("the sign-off of %s is for another image", name(sub))
	case sub.Returned != nil && sub.State == "returned":
		return distrust("%s was recalled", name(sub))
	}
	return nil
}

// stillCovered says whether what was signed is what today's revisions say: a worse verdict, or a
// warning nobody gave a reason for, needs a new sign-off.
func stillCovered(r *Review) error {
	signed := r.Submission.SignOff.GetJudgement()
	if compare.SeverityRank(r.Judgement.Verdict) > compare.SeverityRank(signed.GetVerdict()) {
		return refused("by the newest definition and limits %s is a %s, and it was signed as a %s: it needs a new sign-off",
			name(r.Submission), r.Judgement.Verdict, signed.GetVerdict())
	}
	for _, key := range r.Judgement.Warnings {
		if r.Submission.SignOff.Because[key] == "" {
			return refused("by the newest definition and limits %s has a warning that was not signed for (%s): it needs a new sign-off", name(r.Submission), key)
		}
	}
	return nil
}

// rightCar makes sure that the file belongs to the car in the bay, and says how.
func (c *Client) rightCar(r *Review, q Collecting) (string, error) {
	lay := r.rules.Layout
	if hasVehicle(lay) && q.FreshRead == "" && q.Frame == "" {
		return "", usage("--fresh-read FILE, or --frame NUMBER",
			"job %d: the definition %s has a field that belongs to one car, so the car in the bay must be told apart", q.Job, lay.Name)
	}
	var fresh []byte
	if q.FreshRead != "" {
		p, err := ReadFile(q.FreshRead, "", lay)
		if err != nil {
			return "", err
		}
		fresh = p.Bytes
	}
	if err := sameVehicle(lay, r.candidate.Bytes, fresh, q.Frame); err != nil {
		return "", err
	}
	switch {
	case q.FreshRead != "":
		return "fresh-read", nil
	case q.Frame != "" && hasVehicle(lay):
		return "frame", nil
	case q.Frame != "":
		return "frame", c.frameOfJob(r.Job, q.Frame)
	}
	return "", nil
}

func hasVehicle(lay *definition.Layout) bool {
	for _, f := range lay.Identity {
		if f.Vehicle {
			return true
		}
	}
	return false
}

// frameOfJob compares a typed frame number with the digest that the job was opened with.
func (c *Client) frameOfJob(job *recordv1.Job, frame string) error {
	if !job.FrameGiven {
		return usage("", "job %d has no frame number to compare with, and the definition has no such field", job.Number)
	}
	c.mu.Lock()
	state, entries := c.state, c.entries
	c.mu.Unlock()
	a, err := actionOf(state, entries, job.Opened.GetEntry())
	if err != nil {
		return err
	}
	if a.GetJob().GetFrameDigest() != record.FrameDigest(c.config.Genesis, frame) {
		return distrustCar("the frame number typed is not that of job %d", job.Number)
	}
	return nil
}

// take enters the collection and writes the three files, the image last.
func (c *Client) take(ctx context.Context, q Collecting, job *recordv1.Job, r *Review, checked string) (*Collected, error) {
	format := q.Format
	if format == "" {
		read, err := original(job)
		if err != nil {
			return nil, err
		}
		format = image.Format(read.Image.FileFormat)
	}
	file, err := r.candidate.encode(format, r.rules.Layout)
	if err != nil {
		return nil, err
	}
	// The file is on the disk before the ledger says that it was collected; it has its name after.
	staging, err := stage(q.Out, file, 0o644)
	if err != nil {
		return nil, err
	}
	defer staging.drop()
	index, err := c.act(ctx, &recordv1.Action{Body: &recordv1.Action_Collect{Collect: &recordv1.Collect{
		Job: q.Job, Submission: r.Submission.Number, ImageSha256: r.candidate.Image.Sha256,
		Judgement: r.Judgement, CarCheckedBy: checked}}}, blob{"report", r.report})
	if err != nil {
		return nil, err
	}
	got := &Collected{Submission: r.Submission, Job: job, FileSHA256: HashHex(file), Newer: waiting(job, r.Submission.Number)}
	bundle, err := c.bundle(r, index)
	if err != nil {
		return nil, err
	}
	got.Sheet = baySheet(r, got, checked)
	return got, commitAll(staging, q.Out, bundle, []byte(got.Sheet))
}

// commitAll gives the files their names: sheet and bundle first, the image last, none half written.
func commitAll(file staged, out string, bundle, sheet []byte) error {
	b, err := stage(out+".bundle.zip", bundle, 0o644)
	if err != nil {
		return err
	}
	defer b.drop()
	t, err := stage(out+".sheet.txt", sheet, 0o644)
	if err != nil {
		return err
	}
	defer t.drop()
	for _, s := range []staged{t, b, file} {
		if err := s.commit(); err != nil {
			return fmt.Errorf("%s: %w", s.target, err)
		}
	}
	return nil
}

// waiting is a submission newer than n that waits for its sign-off.
func waiting(job *recordv1.Job, n uint32) *recordv1.Submission {
	for _, s := range job.Submissions {
		if s.Number > n && s.State == "waiting" {
			return s
		}
	}
	return nil
}

// Original writes a job's first read as it came out of the car.
func (c *Client) Original(ctx context.Context, number uint32, out string, format image.Format) (*recordv1.Read, error) {
	if err := c.Sync(ctx); err != nil {
		return nil, err
	}
	if _, err := c.trusted(); err != nil {
		return nil, err
	}
	_, job, err := c.job(number)
	if err != nil {
		return nil, err
	}
	read, err := original(job)
	if err != nil {
		return nil, err
	}
	lay, err := c.layout(ctx, job.Definition)
	if err != nil {
		return nil, err
	}
	p, err := c.picture(ctx, "original", read.Image, lay)
	if err != nil {
		return nil, err
	}
	if format == "" {
		format = image.Format(read.Image.FileFormat)
	}
	file, err := p.encode(format, lay)
	if err != nil {
		return nil, err
	}
	staging, err := stage(out, file, 0o644)
	if err != nil {
		return nil, err
	}
	defer staging.drop()
	_, err = c.act(ctx, &recordv1.Action{Body: &recordv1.Action_Collect{Collect: &recordv1.Collect{
		Job: number, ImageSha256: read.Image.Sha256}}})
	if err != nil {
		return nil, err
	}
	return read, staging.commit()
}

// FileExists says whether a path is taken already.
func FileExists(path string) bool {
	_, err := os.Lstat(path)
	return err == nil
}
