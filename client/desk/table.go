package desk

import (
	"context"
	"fmt"
	"html/template"
	"net/http"
	"net/url"
	"slices"

	"witnessmark/client"
	"witnessmark/client/desk/view"
	"witnessmark/tables/surface"
)

// tableBody is one table whole, of a comparison that a page shows.
type tableBody struct {
	ID, Called      string // Called is the title, and the name where the definition came from
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

func (d *Desk) showTable(w http.ResponseWriter, r *http.Request, p page, b tableBody, c *view.Comparison, o view.Whole) (err error) {
	b.ID, o.Slice, o.At = r.PathValue("table"), r.URL.Query().Get("slice"), r.URL.Query().Get("at")
	if b.HTML, err = c.Table(b.ID, o); err != nil {
		return err
	}
	tables := c.InOrder()
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
	b.Called = view.Called(c.Layout.ByID[b.ID])
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
	if c.Layout.ByID[r.PathValue("table")] == nil {
		return errAway
	}
	html, err := c.Section(r.PathValue("table"), r.URL.Query().Get("slice"), r.URL.Query().Get("at"))
	if err != nil {
		return &client.Error{Kind: client.Usage, Text: err.Error()}
	}
	return fragment(w, html)
}

// history answers, for each cell of the candidate, which submission of the job set it, whose, and who signed that; of a text for
// each byte. All images are read by the definition that the table is shown by.
func (d *Desk) history(ctx context.Context, rev *client.Review, id string) (func(cell int) string, error) {
	t := rev.Layout().ByID[id]
	base, _ := rev.Images()
	before := surface.Decode(t, base)
	set := make([]string, len(before.Bits))
	for _, s := range rev.Job.Submissions {
		if s.Number > rev.Submission.Number {
			break
		}
		one, err := d.client.Review(ctx, s.Job, s.Number)
		if err != nil {
			return nil, err
		}
		_, image := one.Images()
		if len(image) != len(base) {
			continue // another revision of the definition gave it another size
		}
		after := surface.Decode(t, image)
		text := fmt.Sprintf("set by %s, submitted by %s", client.Name(s), s.Submitted.GetPerson())
		if yes := approvedBy(rev.Job, s); yes != "" {
			text += ", " + yes
		} else {
			text += ", not signed off (" + s.State + ")"
		}
		anew := !slices.Equal(shapeOf(after), shapeOf(before))
		if anew {
			set = make([]string, len(after.Bits))
		}
		for i := range set {
			if anew || after.Bits[i] != before.Bits[i] {
				set[i] = text
			}
		}
		before = after
	}
	return func(cell int) string {
		if cell < len(set) && set[cell] != "" {
			return set[cell]
		}
		return "as found"
	}, nil
}

// shapeOf is how many breakpoints a table uses along each axis: with others, the same index is another cell.
func shapeOf(d *surface.Decoded) (counts []int) {
	if d.Astray != nil {
		return []int{0}
	}
	for _, a := range d.Table.Axes {
		counts = append(counts, a.Count)
	}
	return counts
}
