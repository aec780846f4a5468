package client

import (
	"context"
	"errors"
	"fmt"
	"slices"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/store"
	"witnessmark/store/record"
	"witnessmark/store/signoff"
	"witnessmark/tables/image"
)

// WorkingCopy is an image or a run for the bench, held against the hash that the ledger names.
type WorkingCopy struct {
	// Name is what was taken: of a job, its read as found.
	Name record.Name
	// File is the bytes of a file of Format; a run has no format, and is the file that it came in.
	File     []byte
	Format   image.Format
	FileName string // one that it could have
	// SHA256 is the image's, over its definition's whole range, or the run's file's.
	SHA256 string
	// State is a submission's; of a read as found or voided, of a read-back what it showed, else empty.
	State string
	// From is what a submission was started from; nil of everything else.
	From *record.Name
	// Unknown is what the image does not hold, and a raw file has as 0xFF.
	Unknown []image.Range
}

// WorkingCopy takes an image or a run to the bench: no proof, no bay sheet, no entry. An empty format is
// the one that the image came in. Bytes that were looked at before need no server.
func (c *Client) WorkingCopy(ctx context.Context, name record.Name, format image.Format) (*WorkingCopy, error) {
	job, err := c.Job(name.Job)
	if err != nil {
		return nil, err
	}
	w := &WorkingCopy{Name: name}
	if name.Part == record.ARollingRoad {
		if err := c.runCopy(ctx, w, job, format); err != nil {
			return nil, err
		}
		return w, nil
	}
	m, err := c.imageAt(w, job)
	if err != nil {
		return nil, err
	}
	if w.Format = format; format == "" {
		w.Format = image.Format(m.GetFileFormat())
	}
	w.SHA256, w.FileName = m.GetSha256(), fmt.Sprintf("job-%s.%s", w.Name, image.EndingOf(w.Format))
	lay, err := c.JobLayout(ctx, job)
	if err != nil {
		return nil, err
	}
	if w.File, err = c.imageFile(ctx, w.Name.String(), m, lay, w.Format); err != nil {
		return nil, gone(job, w.Name, err)
	}
	held, err := image.FromMessages(m.GetRanges())
	if err == nil && w.Format == image.Raw {
		w.Unknown = image.Minus(lay.Space, held)
	}
	return w, err
}

// imageAt is the image that a name names, and what there is to say of it.
func (c *Client) imageAt(w *WorkingCopy, job *recordv1.Job) (*recordv1.Image, error) {
	n := w.Name.N
	switch w.Name.Part {
	case record.TheJob:
		r, err := asFound(job)
		if err != nil {
			return nil, err
		}
		w.Name = record.Name{Job: job.GetNumber(), Part: record.ARead, N: r.GetNumber()}
		w.State = readState(r)
		return r.GetImage(), nil
	case record.ARead:
		r, err := nth(job, job.GetReads(), n, "read")
		w.State = readState(r)
		return r.GetImage(), err
	case record.AReadback:
		b, err := nth(job, job.GetReadBacks(), n, "read-back")
		if err == nil && b.GetImage() == nil {
			err = usage("", "%s is no image: it could not be read back (%s)", w.Name, b.GetNotPossible())
		}
		w.State = backState(b)
		return b.GetImage(), err
	case record.ACorridor:
		return nil, usage(fmt.Sprintf("witnessmark corridor show %d", job.GetNumber()), "%s is a corridor, and has no bytes", w.Name)
	}
	s, err := nth(job, job.GetSubmissions(), n, "submission")
	if err != nil {
		return nil, err
	}
	from := startedFrom(job, s)
	w.State, w.From = s.GetState(), &from
	return s.GetImage(), c.mayTake(s)
}

// mayTake guards against mistakes: a technician takes to a car only what is collected.
func (c *Client) mayTake(s *recordv1.Submission) error {
	me, err := c.Me()
	if err != nil {
		return err
	}
	for _, role := range []recordv1.Role{recordv1.Role_ROLE_CALIBRATOR, recordv1.Role_ROLE_LEAD} {
		if slices.Contains(me.GetRoles(), signoff.RoleName(role)) {
			return nil
		}
	}
	try := fmt.Sprintf("witnessmark get %d --out FILE, which is the read as found", s.GetJob())
	if record.IsRelease(s) {
		try = "witnessmark collect " + Name(s) + " --out FILE"
	}
	return &Error{Kind: Refused, Try: try, Err: &record.Refusal{Reason: record.ReasonRole, At: Name(s), Allowed: "calibrator or lead",
		Text: fmt.Sprintf("%s is %s, and a technician collects what is released; a working copy of a submission (%s is %s) is for a calibrator or lead",
			me.GetName(), me.GetRoles()[0], Name(s), s.GetState())}}
}

// runCopy takes a run as the file that it came in.
func (c *Client) runCopy(ctx context.Context, w *WorkingCopy, job *recordv1.Job, format image.Format) error {
	r, err := nth(job, job.GetRuns(), w.Name.N, "run")
	if err != nil {
		return err
	}
	if format != "" {
		return usage("", "%s is a run, and taken as the file that it came in; a format is for images", w.Name)
	}
	w.SHA256, w.FileName, w.State = r.GetFileSha256(), fmt.Sprintf("job-%s.csv", w.Name), r.GetWhen()
	w.File, err = c.download(ctx, w.Name.String(), w.SHA256)
	return gone(job, w.Name, err)
}

// gone says why bytes cannot be had.
func gone(job *recordv1.Job, name record.Name, err error) error {
	switch {
	case err == nil:
		return nil
	case errors.Is(err, store.ErrNotFound) && job.GetImagesErased():
		return refused("%s was erased with the images and runs of job %d", name, job.GetNumber())
	case KindOf(err) == Away:
		return fmt.Errorf("the bytes of %s were not looked at here before, and %w", name, err)
	}
	return err
}

// nth is one of a job's things, which count from 1.
func nth[T any](job *recordv1.Job, list []T, n uint32, what string) (one T, err error) {
	if n < 1 || int(n) > len(list) {
		return one, usage(fmt.Sprintf("witnessmark job show %d", job.GetNumber()), "job %d has no %s %d; it has %d", job.GetNumber(), what, n, len(list))
	}
	return list[n-1], nil
}

// startedFrom is the name of what a submission was started from.
func startedFrom(job *recordv1.Job, s *recordv1.Submission) record.Name {
	found := record.AsFound(job)
	switch {
	case s.GetFrom() != 0:
		return record.Name{Job: job.GetNumber(), Part: record.ASubmission, N: s.GetFrom()}
	case found == nil: // voided since
		return record.Name{Job: job.GetNumber()}
	}
	return record.Name{Job: job.GetNumber(), Part: record.ARead, N: found.GetNumber()}
}

// StartedFrom is the name of what the submission was started from.
func (r *Review) StartedFrom() record.Name { return startedFrom(r.Job, r.Submission) }

func readState(r *recordv1.Read) string {
	switch {
	case r.GetVoided() != nil:
		return "voided"
	case r.GetAsFound():
		return "as found"
	}
	return ""
}

func backState(b *recordv1.Readback) string {
	switch {
	case b.GetNotPossible() != "":
		return "not read back"
	case b.GetMatches():
		return "matches"
	}
	return "differs"
}
