package desk

import (
	"context"
	"fmt"
	"html/template"
	"net/http"
	"net/url"

	"witnessmark/client"
	"witnessmark/client/desk/view"
	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/surface"
)

type tableBody struct {
	ID, Title, Unit string
	Base, Candidate string // what the two sides are
	Back            string
	HTML            template.HTML
	Before, After   string // the changed tables around it
	At              string
}

func (d *Desk) table(w http.ResponseWriter, r *http.Request) error {
	job, n, err := subOf(r)
	if err != nil {
		return err
	}
	p := d.base(r, "Table")
	rev, err := d.client.Review(r.Context(), job, n)
	if err != nil {
		return err
	}
	base, _ := rev.Images()
	at := "/sheet/" + client.Name(rev.Submission)
	b := tableBody{Base: "the read as found", Candidate: client.Name(rev.Submission), Back: at, At: at + "/table/"}
	return d.showTable(w, r, p, b, rev, rev.Report, base)
}

func (d *Desk) showTable(w http.ResponseWriter, r *http.Request, p page, b tableBody, rev *client.Review, report *calibrationv1.Report, base []byte) error {
	b.ID = r.PathValue("table")
	t, ok := rev.Layout().ByID[b.ID]
	if !ok {
		return errAway
	}
	_, candidate := rev.Images()
	history, err := d.history(r.Context(), rev, b.ID)
	if err != nil {
		return err
	}
	if b.HTML, err = view.TablePage(report, b.ID, rev.Layout(), base, candidate, rev.Limits(), history); err != nil {
		return err
	}
	for i, c := range report.Tables {
		if c.Id != b.ID {
			continue
		}
		if i > 0 {
			b.Before = report.Tables[i-1].Id
		}
		if i+1 < len(report.Tables) {
			b.After = report.Tables[i+1].Id
		}
	}
	b.Title, b.Unit = title(rev, b.ID), t.Unit
	p.Title = fmt.Sprintf("%s, %s against %s", b.ID, b.Candidate, b.Base)
	d.show(w, p, http.StatusOK, "table", b)
	return nil
}

func title(rev *client.Review, id string) string {
	for _, t := range rev.Layout().Source.GetTables() {
		if t.Id == id {
			return t.Title
		}
	}
	return ""
}

// history answers, for each cell, which submission of the job set it, whose, and who signed that.
func (d *Desk) history(ctx context.Context, rev *client.Review, id string) (func(row, col int) string, error) {
	base, _ := rev.Images()
	before := surface.Decode(rev.Layout().ByID[id], base)
	set := make([]string, len(before.Bits))
	for _, s := range rev.Job.Submissions {
		if s.Number > rev.Submission.Number {
			break
		}
		one, err := d.client.Review(ctx, s.Job, s.Number)
		if err != nil {
			return nil, err
		}
		t, ok := one.Layout().ByID[id]
		if !ok {
			continue
		}
		_, image := one.Images()
		after := surface.Decode(t, image)
		if len(after.Bits) != len(before.Bits) {
			continue // another revision of the definition gave it another shape
		}
		text := fmt.Sprintf("set by %s, submitted by %s", client.Name(s), s.Submitted.GetPerson())
		switch {
		case s.Signed != nil:
			text += ", signed off by " + s.Signed.GetPerson()
		default:
			text += ", not signed off (" + s.State + ")"
		}
		for i := range set {
			if after.Bits[i] != before.Bits[i] {
				set[i] = text
			}
		}
		before = after
	}
	return func(row, col int) string {
		if i := row*before.NX + col; row >= 0 && col >= 0 && col < before.NX && i < len(set) && set[i] != "" {
			return set[i]
		}
		return "as found"
	}, nil
}

type betweenBody struct {
	A, B   *client.Review
	Report *calibrationv1.Report
	Cards  []tableCard
	Names  []string
	Job    uint32
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
	if b.A, b.B, b.Report, err = d.pair(r.Context(), q.Get("a"), q.Get("b")); err != nil {
		return err
	}
	lay, at := b.B.Layout(), "/between/"+client.Name(b.A.Submission)+"/"+client.Name(b.B.Submission)+"/table/"
	_, base := b.A.Images()
	_, candidate := b.B.Images()
	for _, t := range b.Report.Tables {
		href := at + url.PathEscape(t.Id)
		b.Cards = append(b.Cards, tableCard{ID: t.Id, Href: href, HTML: view.TableCard(b.Report, t, lay, base, candidate, href)})
	}
	d.show(w, p, http.StatusOK, "between", b)
	return nil
}

func (d *Desk) pair(ctx context.Context, first, second string) (a, b *client.Review, report *calibrationv1.Report, err error) {
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
	report, err = client.Between(a, b)
	return a, b, report, err
}

func (d *Desk) tableBetween(w http.ResponseWriter, r *http.Request) error {
	p := d.base(r, "Table")
	a, rev, report, err := d.pair(r.Context(), r.PathValue("a"), r.PathValue("sub"))
	if err != nil {
		return err
	}
	_, base := a.Images()
	b := tableBody{Base: client.Name(a.Submission), Candidate: client.Name(rev.Submission)}
	b.Back = fmt.Sprintf("/job/%d/between?a=%s&b=%s", rev.Job.Number, b.Base, b.Candidate)
	b.At = "/between/" + b.Base + "/" + b.Candidate + "/table/"
	return d.showTable(w, r, p, b, rev, report, base)
}
