package desk

import (
	"context"
	"fmt"
	"html/template"
	"math"
	"net/http"

	"witnessmark/client"
	"witnessmark/client/desk/view"
	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
)

type betweenBody struct {
	A, B     *client.Review
	Report   *calibrationv1.Report
	Findings []sinceFindings
	Same     int // findings that are as they were
	Cards    []cardFolder
	Names    []string
	Job      uint32
}

// between compares two submissions of a job.
func (d *Desk) between(w http.ResponseWriter, r *http.Request) error {
	p := d.base(r, "")
	job, err := d.jobAt(r)
	if err != nil {
		return err
	}
	p.Title = fmt.Sprintf("Two submissions of job %d", job.GetNumber())
	b := betweenBody{Job: job.GetNumber()}
	for _, s := range job.Submissions {
		b.Names = append(b.Names, client.Name(s))
	}
	q := r.URL.Query()
	if q.Get("a") == "" {
		d.show(w, p, http.StatusOK, "between", b)
		return nil
	}
	var c *view.Comparison
	if b.A, b.B, c, err = d.pair(r.Context(), q.Get("a"), q.Get("b")); err != nil {
		return err
	}
	since, err := b.B.Since(b.A)
	if err != nil {
		return err
	}
	b.Report, b.Findings, b.Same = c.Report, becameOf(since), len(since.Same)
	b.Cards = cardsOf(c, betweenAt(b.A, b.B), math.MaxInt)
	d.show(w, p, http.StatusOK, "between", b)
	return nil
}

// sinceFindings are findings of which the same became.
type sinceFindings struct {
	What string
	List template.HTML
}

func becameOf(s *client.Since) (out []sinceFindings) {
	for _, part := range []struct {
		what  string
		steps []client.FindingSince
	}{{"New", s.New}, {"Worse", s.Worse}, {"Better", s.Better}, {"Gone", s.Gone}} {
		rev, found := s.Is, []*calibrationv1.Finding{}
		for _, step := range part.steps {
			if step.Is == nil {
				rev = s.Was // what is gone is seen where it was
				found = append(found, step.Was)
			} else {
				found = append(found, step.Is)
			}
		}
		if len(found) > 0 {
			c := comparisonOf(rev)
			out = append(out, sinceFindings{part.what, c.Brief(found, hrefIn(c, "/sheet/"+client.Name(rev.Submission)))})
		}
	}
	return out
}

// betweenAt is the address of what differs between two submissions.
func betweenAt(a, b *client.Review) string {
	return "/between/" + client.Name(a.Submission) + "/" + client.Name(b.Submission)
}

func (d *Desk) pair(ctx context.Context, first, second string) (a, b *client.Review, c *view.Comparison, err error) {
	for _, side := range []struct {
		name string
		to   **client.Review
	}{{first, &a}, {second, &b}} {
		job, n, err := client.ParseSubmission(side.name)
		if err != nil {
			return nil, nil, nil, err
		}
		if *side.to, err = d.client.Review(ctx, job, n); err != nil {
			return nil, nil, nil, err
		}
	}
	report, err := client.Between(a, b)
	c = comparisonOf(b)
	c.Report = report
	_, c.Base = a.Images()
	return a, b, c, err
}

func (d *Desk) tableBetween(w http.ResponseWriter, r *http.Request) error {
	p := d.base(r, "Table")
	a, rev, c, err := d.pair(r.Context(), r.PathValue("a"), r.PathValue("sub"))
	if err != nil {
		return err
	}
	at := betweenAt(a, rev)
	b := tableBody{Base: client.Name(a.Submission), Candidate: client.Name(rev.Submission), At: at + "/table/"}
	b.BackTo = b.Base + " and " + b.Candidate
	b.Back = fmt.Sprintf("/job/%d/between?a=%s&b=%s", rev.Job.Number, b.Base, b.Candidate)
	return d.showReviewed(w, r, p, b, rev, c, at)
}

func (d *Desk) sectionBetween(w http.ResponseWriter, r *http.Request) error {
	_, _, c, err := d.pair(r.Context(), r.PathValue("a"), r.PathValue("sub"))
	if err != nil {
		return err
	}
	return sendSection(w, r, c)
}
