package client

import (
	"context"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/store/record"
	"witnessmark/tables/definition"
	"witnessmark/tables/image"
)

// Collecting is what a technician asks for.
type Collecting struct {
	Job uint32
	// Submission is the release; 0 is the newest one, where one author has releases in the job.
	Submission uint32
	// AsFound takes the job's read as found, as it came out of the car, in place of a release.
	AsFound bool
	// Out is the file; beside a release go Out.proof.zip and Out.sheet.txt. Replace lets them take the
	// place of files that are there.
	Out     string
	Replace bool
	// Format is the kind of file; empty is the one that the file's ending says.
	Format image.Format
	// FreshRead is an image just taken out of the car; Frame is its frame number. Either may be empty.
	FreshRead, Frame string
}

// Collected is what was written.
type Collected struct {
	Submission *recordv1.Submission // nil of a read as found
	Read       *recordv1.Read       // nil of a release
	Job        *recordv1.Job
	FileSHA256 string
	// Newer are later submissions that wait or were released.
	Newer []*recordv1.Submission
	Sheet string
}

// Endings of the files that go with a release.
const (
	proofEnding = ".proof.zip"
	sheetEnding = ".sheet.txt"
)

// Collect writes a release, if everything about it holds, or the read as found. Nothing is written
// otherwise, and the file itself comes last.
func (c *Client) Collect(ctx context.Context, q Collecting) (*Collected, error) {
	out := Out{Path: q.Out, Replace: q.Replace, Given: []string{q.FreshRead}}
	var err error
	if q.Format, err = out.Format(q.Format); err != nil {
		return nil, err
	}
	if err := out.Free(); err != nil {
		return nil, err
	}
	if q.AsFound {
		return c.collectAsFound(ctx, q, out)
	}
	for _, ending := range []string{proofEnding, sheetEnding} {
		if err := out.beside(ending).Free(); err != nil {
			return nil, err
		}
	}
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
	return c.collect(ctx, q, out, r, checked)
}

// collect enters the collection and writes the three files. The image is on the disk before the ledger
// says that it was collected, and gets its name last.
func (c *Client) collect(ctx context.Context, q Collecting, out Out, r *Review, checked string) (*Collected, error) {
	if err := writesNoHoles(r.Submission.GetImage(), r.Layout(), q.Format); err != nil {
		return nil, err
	}
	file, err := r.made.Candidate.Encode(q.Format)
	if err != nil {
		return nil, err
	}
	staged, err := out.stage(file)
	if err != nil {
		return nil, err
	}
	defer staged.Drop()
	d := &deed{agree: r.agree, action: &recordv1.Action{Body: &recordv1.Action_Collect{Collect: &recordv1.Collect{
		Job: q.Job, Submission: q.Submission, ImageSha256: r.Submission.GetImage().GetSha256(), CarCheckedBy: checked}}}}
	entered, err := c.act(ctx, d)
	if err != nil {
		return nil, err
	}
	var asked *recordv1.OpenCorridor
	if in := entered.made.Corridor; in != nil {
		asked = in.Of.GetAsked()
	}
	var proof []byte
	err = c.mending(ctx, func() (err error) {
		proof, err = c.proof(ctx, r, asked, entered.index)
		return err
	})
	if err != nil {
		return nil, err
	}
	got := &Collected{Submission: r.Submission, Job: r.Job, FileSHA256: HashHex(file), Newer: newer(r)}
	got.Sheet = baySheet(r, got, checked)
	return got, out.commitAll(staged, proof, []byte(got.Sheet))
}

// commitAll gives a release's files their names: the image last, none half written.
func (o Out) commitAll(file staged, proof, sheet []byte) error {
	proofOut, sheetOut := o.beside(proofEnding), o.beside(sheetEnding)
	p, err := proofOut.stage(proof)
	if err != nil {
		return err
	}
	defer p.Drop()
	s, err := sheetOut.stage(sheet)
	if err != nil {
		return err
	}
	defer s.Drop()
	if err := proofOut.commit(p); err != nil {
		return err
	}
	if err := sheetOut.commit(s); err != nil {
		return err
	}
	return o.commit(file)
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

func (c *Client) collectAsFound(ctx context.Context, q Collecting, out Out) (*Collected, error) {
	job, rules, err := c.jobRules(ctx, q.Job)
	if err != nil {
		return nil, err
	}
	read, err := asFound(job)
	if err != nil {
		return nil, err
	}
	if err := writesNoHoles(read.GetImage(), rules.Layout, q.Format); err != nil {
		return nil, err
	}
	file, err := c.imageFile(ctx, "read as found", read.GetImage(), rules.Layout, q.Format)
	if err != nil {
		return nil, err
	}
	staged, err := out.stage(file)
	if err != nil {
		return nil, err
	}
	defer staged.Drop()
	_, err = c.act(ctx, &deed{action: &recordv1.Action{Body: &recordv1.Action_Collect{Collect: &recordv1.Collect{
		Job: q.Job, ImageSha256: read.GetImage().GetSha256()}}}})
	if err != nil {
		return nil, err
	}
	return &Collected{Read: read, Job: job, FileSHA256: HashHex(file)}, out.commit(staged)
}

// writesNoHoles refuses a file for a car in which bytes that nobody knows would be written as 0xff.
func writesNoHoles(m *recordv1.Image, lay *definition.Layout, format image.Format) error {
	held, err := image.FromMessages(m.GetRanges())
	lacks := image.Minus(lay.Space, held)
	if err != nil || len(lacks) == 0 || format != image.Raw {
		return err
	}
	return usage("a name that ends in .hex or .s19", "the job's read lacks 0x%x to 0x%x, where a raw file would write 0xff", lacks[0].Start, lacks[0].End)
}

// imageFile fetches an image, and makes a file of a kind of it.
func (c *Client) imageFile(ctx context.Context, what string, m *recordv1.Image, lay *definition.Layout, format image.Format) ([]byte, error) {
	b, err := c.download(ctx, what, m.GetSha256())
	if err != nil {
		return nil, err
	}
	im, err := image.FromMessage(m, lay.Space, b)
	if err != nil {
		return nil, err
	}
	return im.Encode(format)
}
