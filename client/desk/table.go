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

// tableBody is one table whole, of a comparison that a page shows.
type tableBody struct {
	ID, Title, Unit string
	Base, Candidate string // what the two sides are
	Back            string
	HTML            template.HTML
	Before, After   string // the changed tables around it, as the sheet has them
	At              string
	Notes           []noteLine
	Note            string // where one is written; empty where none can be
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
	at := "/sheet/" + client.Name(rev.Submission)
	b := tableBody{Base: asFound, Candidate: client.Name(rev.Submission), Back: at, At: at + "/table/",
		Notes: notesOf(rev.Job, n, r.PathValue("table"))}
	if p.may("note") == "" {
		b.Note = noteAt(rev.Job, n, r.PathValue("table"))
	}
	return d.showTable(w, r, p, b, rev, comparisonOf(rev), at)
}

// asFound is how pages call that side.
const asFound = "the read as found"

// cellAt is the cell that the address names as ?at=ROW,COLUMN; nil where it names none.
func cellAt(r *http.Request) *[2]int {
	var at [2]int
	if n, _ := fmt.Sscanf(r.URL.Query().Get("at"), "%d,%d", &at[0], &at[1]); n != 2 {
		return nil
	}
	return &at
}

func (d *Desk) showTable(w http.ResponseWriter, r *http.Request, p page, b tableBody, rev *client.Review, c *view.Comparison, at string) error {
	b.ID = r.PathValue("table")
	t, ok := rev.Layout().ByID[b.ID]
	if !ok {
		return errAway
	}
	history, err := d.history(r.Context(), rev, b.ID)
	if err != nil {
		return err
	}
	o := view.Whole{History: history, At: cellAt(r), Section: at + "/section/" + url.PathEscape(b.ID), Href: hrefIn(c, at)}
	if b.HTML, err = c.Table(b.ID, o); err != nil {
		return err
	}
	tables := c.WorstFirst()
	for i, one := range tables {
		if one.Id != b.ID {
			continue
		}
		if i > 0 {
			b.Before = tables[i-1].Id
		}
		if i+1 < len(tables) {
			b.After = tables[i+1].Id
		}
	}
	b.Title, b.Unit = title(rev, b.ID), t.Unit
	p.Title, p.Broad = fmt.Sprintf("%s, %s against %s", b.ID, b.Candidate, b.Base), true
	d.show(w, p, http.StatusOK, "table", b)
	return nil
}

// section is the two sections of a table through a cell, for the page that shows it.
func (d *Desk) section(w http.ResponseWriter, r *http.Request) error {
	job, n, err := subOf(r)
	if err != nil {
		return err
	}
	rev, err := d.client.Review(r.Context(), job, n)
	if err != nil {
		return err
	}
	return sendSection(w, r, comparisonOf(rev))
}

func (d *Desk) sectionBetween(w http.ResponseWriter, r *http.Request) error {
	_, _, c, err := d.pair(r.Context(), r.PathValue("a"), r.PathValue("sub"))
	if err != nil {
		return err
	}
	return sendSection(w, r, c)
}

func sendSection(w http.ResponseWriter, r *http.Request, c *view.Comparison) error {
	at := cellAt(r)
	if at == nil || c.Layout.ByID[r.PathValue("table")] == nil {
		return errAway
	}
	html, err := c.Section(r.PathValue("table"), at[0], at[1])
	if err != nil {
		return &client.Error{Kind: client.Usage, Text: err.Error()}
	}
	return fragment(w, html)
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
	A, B     *client.Review
	Report   *calibrationv1.Report
	Findings template.HTML
	Cards    []tableCard
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
	b.Report, b.Findings = c.Report, c.Findings(hrefIn(c, betweenAt(b.A, b.B)))
	b.Cards, _ = cardsOf(c, betweenAt(b.A, b.B), true)
	d.show(w, p, http.StatusOK, "between", b)
	return nil
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
	b.Back = fmt.Sprintf("/job/%d/between?a=%s&b=%s", rev.Job.Number, b.Base, b.Candidate)
	return d.showTable(w, r, p, b, rev, c, at)
}
