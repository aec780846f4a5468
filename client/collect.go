package client

import (
	"context"
	"fmt"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/store/record"
	"witnessmark/tables/image"
)

// Collecting is what a technician asks for.
type Collecting struct {
	Job uint32
	// Submission is the release; 0 is the newest one, where one author has releases in the job.
	Submission uint32
	// Out is the file; beside it go Out.proof.zip and Out.sheet.txt.
	Out string
	// Format is the kind of file; empty is the kind that the read came in.
	Format image.Format
	// FreshRead is an image just taken out of the car; Frame is its frame number. Either may be empty.
	FreshRead, Frame string
}

// Collected is what was written.
type Collected struct {
	Submission *recordv1.Submission
	Job        *recordv1.Job
	FileSHA256 string
	// Newer are later submissions that wait or were released.
	Newer []*recordv1.Submission
	Sheet string
}

// Collect writes a release, if everything about it holds. Nothing is written otherwise, and the file
// itself comes last.
func (c *Client) Collect(ctx context.Context, q Collecting) (*Collected, error) {
	if err := c.Sync(ctx); err != nil {
		return nil, err
	}
	if q.Submission == 0 {
		sub, err := look(c, func(s *record.State) (*recordv1.Submission, error) { return s.Release(q.Job) })
		if err != nil {
			return nil, refusal(err)
		}
		q.Submission = sub.GetNumber()
	}
	r, err := c.Review(ctx, q.Job, q.Submission)
	if err != nil {
		return nil, err
	}
	checked, err := rightCar(r, q)
	if err != nil {
		return nil, err
	}
	return c.collect(ctx, q, r, checked)
}

// collect enters the collection and writes the three files, the image last.
func (c *Client) collect(ctx context.Context, q Collecting, r *Review, checked string) (*Collected, error) {
	staging, file, err := stageImage(q.Out, r.made.Candidate, q.Format, record.AsFound(r.Job).GetImage())
	if err != nil {
		return nil, err
	}
	defer staging.drop()
	d := &deed{agree: r.agree, action: &recordv1.Action{Body: &recordv1.Action_Collect{Collect: &recordv1.Collect{
		Job: q.Job, Submission: q.Submission, ImageSha256: r.Submission.GetImage().GetSha256(), CarCheckedBy: checked}}}}
	entered, err := c.act(ctx, d)
	if err != nil {
		return nil, err
	}
	var proof []byte
	err = c.mending(ctx, func() (err error) {
		proof, err = c.proof(ctx, r, entered.index)
		return err
	})
	if err != nil {
		return nil, err
	}
	got := &Collected{Submission: r.Submission, Job: r.Job, FileSHA256: HashHex(file), Newer: newer(r)}
	got.Sheet = baySheet(r, got, checked)
	return got, commitAll(staging, q.Out, proof, []byte(got.Sheet))
}

// stageImage has a file on the disk before the ledger says that it was collected; it gets its name after.
func stageImage(out string, im *image.Image, format image.Format, read *recordv1.Image) (staged, []byte, error) {
	if format == "" {
		format = image.Format(read.GetFileFormat())
	}
	file, err := im.Encode(format)
	if err != nil {
		return staged{}, nil, err
	}
	s, err := stage(out, file)
	return s, file, err
}

// commitAll gives the files their names: the image last, none half written.
func commitAll(file staged, out string, proof, sheet []byte) error {
	var all []staged
	for ending, b := range map[string][]byte{".sheet.txt": sheet, ".proof.zip": proof} {
		s, err := stage(out+ending, b)
		if err != nil {
			return err
		}
		defer s.drop()
		all = append(all, s)
	}
	for _, s := range append(all, file) {
		if err := s.commit(); err != nil {
			return fmt.Errorf("%s: %w", s.target, err)
		}
	}
	return nil
}

// newer are submissions after a release that somebody may mean instead.
func newer(r *Review) (out []*recordv1.Submission) {
	for _, s := range r.Job.GetSubmissions()[r.Submission.GetNumber():] {
		if s.GetState() == record.Waiting || record.IsRelease(s) {
			out = append(out, s)
		}
	}
	return out
}

// CollectAsFound writes a job's read as found as it came out of the car.
func (c *Client) CollectAsFound(ctx context.Context, number uint32, out string, format image.Format) (*recordv1.Read, error) {
	job, rules, err := c.jobRules(ctx, number)
	if err != nil {
		return nil, err
	}
	read, err := asFound(job)
	if err != nil {
		return nil, err
	}
	b, err := c.download(ctx, "read as found", read.GetImage().GetSha256())
	if err != nil {
		return nil, err
	}
	im, err := image.FromMessage(read.GetImage(), rules.Layout.Start, b)
	if err != nil {
		return nil, err
	}
	staging, _, err := stageImage(out, im, format, read.GetImage())
	if err != nil {
		return nil, err
	}
	defer staging.drop()
	_, err = c.act(ctx, &deed{action: &recordv1.Action{Body: &recordv1.Action_Collect{Collect: &recordv1.Collect{
		Job: number, ImageSha256: read.GetImage().GetSha256()}}}})
	if err != nil {
		return nil, err
	}
	return read, staging.commit()
}
