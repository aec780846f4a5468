package client

import (
	"context"
	"strings"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/store/record"
)

// Details is what a person says of a job, and may correct.
type Details struct {
	Plate, Frame, Limits, Fuel, Note string
	// Car is SameCar or AnotherCar where plate and frame number do not settle which car it is.
	Car     string
	Parts   []string
	Numbers []string // NAME=VALUE each
}

// What a person says of a car that the ledger knows under another plate or frame number.
const (
	SameCar    = "same"
	AnotherCar = "another"
)

// NewJob is what a person says when a car comes in.
type NewJob struct {
	Details
	Definition string
}

// OpenJob opens a job and answers with it.
func (c *Client) OpenJob(ctx context.Context, n NewJob) (*recordv1.Job, error) {
	d := &deed{}
	details, err := n.message(d, &recordv1.Job{})
	if err != nil {
		return nil, err
	}
	job := &recordv1.OpenJob{Details: details}
	if err := c.Sync(ctx); err != nil {
		return nil, err
	}
	err = c.View(func(s *record.State) (err error) {
		if job.Definition, err = revision(s, record.Definitions, n.Definition); err != nil {
			return err
		}
		details.Limits, err = revision(s, record.Limits, n.Limits)
		return err
	})
	if err != nil {
		return nil, err
	}
	if details.Fuel, err = c.spelled(ctx, n.Fuel, details.Limits); err != nil {
		return nil, err
	}
	d.action = &recordv1.Action{Body: &recordv1.Action_Job{Job: job}}
	got, err := c.act(ctx, d)
	if err != nil {
		return nil, err
	}
	return look(c, func(s *record.State) (*recordv1.Job, error) { return jobIn(s, s.JobOpenedBy(got.index)) })
}

// DetailsOf is what a job's details are now, to be changed and given to AmendJob.
func DetailsOf(j *recordv1.Job) Details {
	d := Details{Plate: j.GetPlate().GetText(), Frame: j.GetFrame().GetText(), Limits: j.GetLimits().GetName(),
		Fuel: j.GetFuel(), Note: j.GetNote().GetText(), Parts: j.GetParts()}
	for name, value := range j.GetNumbers() {
		d.Numbers = append(d.Numbers, name+"="+value)
	}
	return d
}

// AmendJob puts other details in place of a job's.
func (c *Client) AmendJob(ctx context.Context, number uint32, n Details) (*recordv1.Job, error) {
	if err := c.Sync(ctx); err != nil {
		return nil, err
	}
	job, err := c.Job(number)
	if err != nil {
		return nil, err
	}
	d := &deed{}
	details, err := n.message(d, job)
	if err != nil {
		return nil, err
	}
	err = c.View(func(s *record.State) (err error) {
		details.Limits, err = revision(s, record.Limits, n.Limits)
		return err
	})
	if err != nil {
		return nil, err
	}
	if details.Fuel, err = c.spelled(ctx, n.Fuel, details.Limits); err != nil {
		return nil, err
	}
	d.action = &recordv1.Action{Body: &recordv1.Action_Amend{Amend: &recordv1.AmendJob{Job: number, Details: details}}}
	return c.actOn(ctx, number, d)
}

// message is details as an action has them; a text that stays as it was keeps its commitment.
func (n Details) message(d *deed, was *recordv1.Job) (*recordv1.JobDetails, error) {
	numbers, err := ParseNumbers(n.Numbers)
	if err != nil {
		return nil, err
	}
	seal := func(field, text string, old *recordv1.Text) *recordv1.Sealed {
		if text != "" && text == old.GetText() {
			return &recordv1.Sealed{Commitment: old.GetCommitment()}
		}
		return d.seal(field, text)
	}
	out := &recordv1.JobDetails{CarSaid: n.Car, Fuel: n.Fuel, Parts: n.Parts, Numbers: numbers,
		Plate: seal("plate", strings.TrimSpace(n.Plate), was.GetPlate()), Note: seal("note", n.Note, was.GetNote())}
	// A frame number that only the read told is not what somebody typed.
	if frame, read := record.NormalFrame(n.Frame), record.AsFound(was).GetFrame(); read == nil || frame != was.GetFrame().GetText() ||
		was.GetFrame().GetCommitment() != read.GetCommitment() {
		out.Frame = seal("frame", frame, was.GetFrame())
	}
	return out, nil
}

// spelled is a fuel as limits spell it, where they name it: a job that says 98 ron means their 98 RON.
func (c *Client) spelled(ctx context.Context, fuel string, of *recordv1.Revision) (string, error) {
	l, err := c.claims.Limits(of.GetName(), of.GetSha256(), func() ([]byte, error) { return c.download(ctx, "limits "+of.GetName(), of.GetSha256()) })
	if err != nil {
		return "", err
	}
	for _, f := range l.Source.GetFuel() {
		if strings.EqualFold(f, strings.TrimSpace(fuel)) {
			return f, nil
		}
	}
	return fuel, nil
}

// revision is the newest one of a name.
func revision(s *record.State, kind, name string) (*recordv1.Revision, error) {
	f, ok := s.Newest(kind, name)
	if !ok {
		return nil, usage("witnessmark "+kind+" list", "no %s is called %q", kind, name)
	}
	return &recordv1.Revision{Name: f.GetName(), Sha256: f.GetSha256()}, nil
}

// CloseJob ends a visit; the outcome is done or cancelled.
func (c *Client) CloseJob(ctx context.Context, number uint32, outcome, because string) (*recordv1.Job, error) {
	return c.actOn(ctx, number, &deed{action: &recordv1.Action{Body: &recordv1.Action_Close{
		Close: &recordv1.CloseJob{Job: number, Outcome: outcome, Because: because}}}})
}

// ReopenJob takes a closed job up again.
func (c *Client) ReopenJob(ctx context.Context, number uint32, because string) (*recordv1.Job, error) {
	return c.actOn(ctx, number, &deed{action: &recordv1.Action{Body: &recordv1.Action_Reopen{
		Reopen: &recordv1.ReopenJob{Job: number, Because: because}}}})
}

// Erase deletes what identifies a closed job's car, with images its images and runs too.
func (c *Client) Erase(ctx context.Context, number uint32, images bool, because string) (*recordv1.Job, error) {
	return c.actOn(ctx, number, &deed{action: &recordv1.Action{Body: &recordv1.Action_Erase{
		Erase: &recordv1.Erase{Job: number, Images: images, Because: because}}}})
}

// Settle ends an alarm by a lead's word; about is what it is about, such as 7.2.
func (c *Client) Settle(ctx context.Context, about record.Name, alarm, because string) (*recordv1.Job, error) {
	return c.actOn(ctx, about.Job, &deed{action: &recordv1.Action{Body: &recordv1.Action_Settle{
		Settle: &recordv1.Settle{Job: about.Job, About: about.String(), Alarm: alarm, Because: because}}}})
}

// actOn acts, and answers with what the job is then.
func (c *Client) actOn(ctx context.Context, number uint32, d *deed) (*recordv1.Job, error) {
	if _, err := c.act(ctx, d); err != nil {
		return nil, err
	}
	return c.Job(number)
}

// Job is one job of the copy.
func (c *Client) Job(n uint32) (*recordv1.Job, error) {
	return look(c, func(s *record.State) (*recordv1.Job, error) { return jobIn(s, n) })
}

func jobIn(s *record.State, n uint32) (*recordv1.Job, error) {
	j, ok := s.Job(n)
	if !ok {
		return nil, usage("witnessmark job list", "there is no job %d", n)
	}
	return j, nil
}

// Submission is one submission of the copy.
func (c *Client) Submission(job, n uint32) (*recordv1.Submission, error) {
	return look(c, func(s *record.State) (*recordv1.Submission, error) { _, sub, err := subIn(s, job, n); return sub, err })
}

func subIn(s *record.State, job, n uint32) (*recordv1.Job, *recordv1.Submission, error) {
	j, err := jobIn(s, job)
	if err != nil {
		return nil, nil, err
	}
	sub := record.SubmissionOf(j, n)
	if sub == nil {
		return nil, nil, usage("witnessmark job show "+record.Name{Job: job}.String(), "job %d has no submission %d", job, n)
	}
	return j, sub, nil
}

// Name is what people call a submission: the second one of job 7 is 7.2.
func Name(s *recordv1.Submission) string {
	return record.Name{Job: s.GetJob(), Part: record.ASubmission, N: s.GetNumber()}.String()
}

// ParseJob reads a job's number.
func ParseJob(text string) (uint32, error) {
	n, err := record.ParseName(text)
	if err != nil || n.Part != record.TheJob {
		return 0, usage("", "%q is not a job's number (1, 2, …)", text)
	}
	return n.Job, nil
}

// ParseSubmission reads JOB.N.
func ParseSubmission(text string) (job, n uint32, err error) {
	name, err := record.ParseName(text)
	if err != nil || name.Part != record.ASubmission {
		return 0, 0, usage("", "%q is not a submission (JOB.N, such as 7.2)", text)
	}
	return name.Job, name.N, nil
}
