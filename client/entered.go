package client

import (
	"context"
	"fmt"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/store/record"
	"witnessmark/tables/compare"
	"witnessmark/tables/definition"
)

// Entered is a report that was entered with an action: its bytes are those that its signer named. The
// images are flat over the definition's range, and nil where there is none or it was erased.
type Entered struct {
	Report          *calibrationv1.Report
	Layout          *definition.Layout
	Base, Candidate []byte
}

// ReadReport is what a read showed when it was added.
type ReadReport struct {
	Job  *recordv1.Job
	Read *recordv1.Read
	// Check is the image judged by itself. Changed is what somebody changed in the car since it was last
	// in; nil where nothing was, where it had not been in, and where two definitions could not be compared.
	Check, Changed *Entered
}

// ReadbackReport is what a read-back showed. Report compares what was written with what was found; nil
// where that matches, and where it could not be read.
type ReadbackReport struct {
	Job      *recordv1.Job
	Readback *recordv1.Readback
	Report   *Entered
}

// ReadReport fetches the reports of a job's read.
func (c *Client) ReadReport(ctx context.Context, number, n uint32) (*ReadReport, error) {
	job, err := c.Job(number)
	if err != nil {
		return nil, err
	}
	r := &ReadReport{Job: job}
	if r.Read, err = nth(job, job.GetReads(), n, "read"); err != nil {
		return nil, err
	}
	name, sha := record.Name{Job: number, Part: record.ARead, N: n}, r.Read.GetImage().GetSha256()
	if r.Check, err = c.entered(ctx, job, name, r.Read.GetCheck().GetReportSha256(), "", sha); err != nil {
		return nil, err
	}
	if k := r.Read.GetLastKnown(); k.GetReportSha256() != "" {
		r.Changed, err = c.entered(ctx, job, name, k.GetReportSha256(), k.GetImageSha256(), sha)
	}
	return r, err
}

// ReadbackReport fetches the report of a job's read-back.
func (c *Client) ReadbackReport(ctx context.Context, number, n uint32) (*ReadbackReport, error) {
	job, err := c.Job(number)
	if err != nil {
		return nil, err
	}
	r := &ReadbackReport{Job: job}
	if r.Readback, err = nth(job, job.GetReadBacks(), n, "read-back"); err != nil {
		return nil, err
	}
	b := r.Readback
	if b.GetReportSha256() == "" {
		return r, nil
	}
	written := ""
	if sub := record.SubmissionOf(job, b.GetSubmission()); sub != nil {
		written = sub.GetImage().GetSha256()
	}
	r.Report, err = c.entered(ctx, job, record.Name{Job: number, Part: record.AReadback, N: n}, b.GetReportSha256(), written, b.GetImage().GetSha256())
	return r, err
}

// entered fetches a report and the images that it is of, which must be those; an empty base is whatever
// the report says.
func (c *Client) entered(ctx context.Context, job *recordv1.Job, name record.Name, sum, base, candidate string) (*Entered, error) {
	what := "report of " + name.String()
	b, err := c.download(ctx, what, sum)
	if err != nil {
		return nil, gone(job, name, err)
	}
	e := &Entered{Report: &calibrationv1.Report{}}
	if err := decode(b, e.Report); err != nil {
		return nil, fmt.Errorf("%s: %w", what, err)
	}
	said := e.Report.GetBase().GetSha256()
	switch {
	case e.Report.GetSemantics() > compare.Semantics:
		return nil, upgrade("the %s is by rules of comparing number %d, and this program has number %d", what, e.Report.GetSemantics(), compare.Semantics)
	case e.Report.GetCandidate().GetSha256() != candidate || base != "" && said != base:
		return nil, distrust("the %s is of other images than the ledger names", what)
	}
	d := e.Report.GetDefinition()
	if e.Layout, err = c.claims.Layout(source{c: c, ctx: ctx}, &recordv1.Revision{Name: d.GetName(), Sha256: d.GetSha256()}); err != nil {
		return nil, refusal(gone(job, name, err))
	}
	if e.Base, err = c.downloadKept(ctx, what, said); err == nil {
		e.Candidate, err = c.downloadKept(ctx, what, candidate)
	}
	return e, gone(job, name, err)
}

// downloadKept is download of bytes that may have been erased: then, and of no hash, they are nil.
func (c *Client) downloadKept(ctx context.Context, what, sum string) ([]byte, error) {
	there, err := look(c, func(s *record.State) (bool, error) { _, there := s.Image(sum); return there, nil })
	if err != nil || !there {
		return nil, err
	}
	return c.download(ctx, what, sum)
}
