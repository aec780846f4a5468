package desk

import (
	"context"
	"fmt"
	"html/template"
	"net/http"
	"net/url"

	"witnessmark/client"
	"witnessmark/client/desk/view"
	"witnessmark/tables/surface"
)

// tableBody is one table whole, of a comparison that a page shows.
type tableBody struct {
	ID, Title       string
	Base, Candidate string // what the two sides are
	Back, BackTo    string
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
	b := tableBody{Base: asFound, Candidate: client.Name(rev.Submission), Back: at, BackTo: "the sheet of " + client.Name(rev.Submission), At: at + "/table/",
		Notes: notesOf(rev.Job, n, r.PathValue("table"))}
	if p.may("note") == "" {
		b.Note = noteAt(rev.Job, n, r.PathValue("table"))
	}
	return d.showReviewed(w, r, p, b, rev, comparisonOf(rev), at)
}

// showReviewed shows a table of a reviewed submission, whose title and history are known.
func (d *Desk) showReviewed(w http.ResponseWriter, r *http.Request, p page, b tableBody, rev *client.Review, c *view.Comparison, at string) error {
	id := r.PathValue("table")
	if rev.Layout().ByID[id] == nil {
		return errAway
	}
	history, err := d.history(r.Context(), rev, id)
	if err != nil {
		return err
	}
	return d.showTable(w, r, p, b, c, view.Whole{History: history, Section: at + "/section/" + url.PathEscape(id), Href: hrefIn(c, at)})
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

func (d *Desk) showTable(w http.ResponseWriter, r *http.Request, p page, b tableBody, c *view.Comparison, o view.Whole) (err error) {
	b.ID, o.At = r.PathValue("table"), cellAt(r)
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
	b.Title = c.Layout.ByID[b.ID].Title
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
