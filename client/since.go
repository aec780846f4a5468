package client

import (
	"cmp"
	"context"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/store/record"
	"witnessmark/tables/compare"
	"witnessmark/tables/severity"
)

// Since is one submission held against another of its job, both compared with the same base as things
// are now. Findings stand in the order of the report that has them.
type Since struct {
	Was, Is *Review
	// Changed compares the two images, that of Was as the base. Nobody signs such a report.
	Changed                        *calibrationv1.Report
	Gone, New, Worse, Better, Same []FindingSince
}

// FindingSince is what became of a finding; Was is nil of a new one, Is of one that is gone.
type FindingSince struct {
	Key     string
	Was, Is *calibrationv1.Finding
}

// Since reviews two submissions of a job, and holds is against was.
func (c *Client) Since(ctx context.Context, is, was record.Name) (*Since, error) {
	for _, n := range []record.Name{is, was} {
		if n.Part != record.ASubmission {
			return nil, usage("", "%s is no submission, such as 7.2: a submission is held against an earlier one of its job", n)
		}
	}
	if is.Job != was.Job || is == was {
		return nil, usage("", "%s and %s are not two submissions of one job", is, was)
	}
	before, err := c.Review(ctx, was.Job, was.N)
	if err != nil {
		return nil, err
	}
	now, err := c.Review(ctx, is.Job, is.N)
	if err != nil {
		return nil, err
	}
	return now.Since(before)
}

// Since holds a submission against another of its job that was reviewed too.
func (r *Review) Since(was *Review) (*Since, error) {
	changed, err := Between(was, r)
	if err != nil {
		return nil, err
	}
	s := &Since{Was: was, Is: r, Changed: changed}
	old := map[string]*calibrationv1.Finding{}
	for _, f := range was.Report.GetFindings() {
		old[Key(f)] = f
	}
	found := map[string]bool{}
	for _, f := range r.Report.GetFindings() {
		step := FindingSince{Key: Key(f), Was: old[Key(f)], Is: f}
		found[step.Key] = true
		list := &s.New
		if step.Was != nil {
			list = map[int]*[]FindingSince{-1: &s.Better, 0: &s.Same, 1: &s.Worse}[howBad(f, step.Was)]
		}
		*list = append(*list, step)
	}
	for _, f := range was.Report.GetFindings() {
		if !found[Key(f)] {
			s.Gone = append(s.Gone, FindingSince{Key: Key(f), Was: f})
		}
	}
	return s, nil
}

// howBad is 1 where one finding is worse than another of its key, -1 where it is better: by its
// severity, then whether the submission brought it in, how far it goes, and at how many points.
func howBad(a, b *calibrationv1.Finding) int {
	rank := func(f *calibrationv1.Finding) int { return severity.Of(f.GetSeverity()).Rank() }
	own := func(f *calibrationv1.Finding) int {
		if compare.Counts(f) {
			return 1
		}
		return 0
	}
	return cmp.Or(cmp.Compare(rank(a), rank(b)), cmp.Compare(own(a), own(b)),
		cmp.Compare(a.GetWorst().GetExcess(), b.GetWorst().GetExcess()), cmp.Compare(a.GetCount(), b.GetCount()))
}
