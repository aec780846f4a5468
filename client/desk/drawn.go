package desk

import (
	"fmt"
	"html/template"
	"math"
	"net/http"
	"net/url"
	"slices"

	"witnessmark/client"
	"witnessmark/client/desk/view"
	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
)

// drawnAtOnce is how many tables' pictures come with a sheet for a browser that runs no script.
const drawnAtOnce = 12

// atOnce is how many of the changed tables come with their pictures. A script says by a cookie that it fetches them as they are
// scrolled to: then none is drawn before the verdict can be read.
func atOnce(r *http.Request) int {
	_, none := r.Cookie("pictures-later")
	switch {
	case r.URL.Query().Get("all") != "":
		return math.MaxInt
	case none == nil:
		return 0
	}
	return drawnAtOnce
}

type tableCard struct {
	ID, Href, Fragment, Numbers string
	Draw                        func() template.HTML // nil: it is fetched
}

// comparisonOf is a reviewed submission as it is drawn.
func comparisonOf(rev *client.Review) *view.Comparison {
	base, candidate := rev.Images()
	return &view.Comparison{Report: rev.Report, Layout: rev.Layout(), Limits: rev.Limits(), Base: base, Candidate: candidate}
}

// hrefIn leads from each finding to its cell, or to the part of the page at that address which it is about.
func hrefIn(c *view.Comparison, at string) func(*calibrationv1.Finding) string {
	return func(f *calibrationv1.Finding) string {
		switch {
		case f.GetTable() != "":
			return at + "/table/" + url.PathEscape(f.GetTable()) + c.At(f)
		case f.GetSignal() != "":
			return at + "#" + view.SignalAt(f.GetSignal())
		case len(f.GetRanges()) > 0:
			return at + "#bytes"
		case f.GetRule() == "checksum" || f.GetRule() == "identity":
			return at + "#sums"
		}
		return ""
	}
}

// cardFolder is the changed tables of one folder of the definition; without a name where it has none, or they are in none.
type cardFolder struct {
	Name  string
	Cards []tableCard
}

// cardsOf are the changed tables, folder by folder, the worst first; so many come with their pictures.
func cardsOf(c *view.Comparison, at string, drawn int) (folders []cardFolder) {
	n := 0
	for _, f := range c.Folders() {
		folder := cardFolder{Name: f.Name}
		for _, t := range f.Tables {
			card := tableCard{ID: t.GetId(), Href: at + "/table/" + url.PathEscape(t.GetId()), Fragment: at + "/card/" + url.PathEscape(t.GetId()),
				Numbers: fmt.Sprintf("%d of %d cells changed", t.GetChanged(), t.GetCells())}
			if n++; n <= drawn {
				card.Draw = func() template.HTML { return c.Card(t, card.Href) }
			}
			folder.Cards = append(folder.Cards, card)
		}
		folders = append(folders, folder)
	}
	return folders
}

// signalsOf are the signals that depend on a change, those with the worst finding first.
func signalsOf(c *view.Comparison, at string) (out []template.HTML) {
	place := func(r *calibrationv1.SignalReport) int {
		if i := slices.IndexFunc(c.Report.GetFindings(), func(f *calibrationv1.Finding) bool { return f.GetSignal() == r.GetId() }); i >= 0 {
			return i
		}
		return len(c.Report.GetFindings())
	}
	signals := slices.Clone(c.Report.GetSignals())
	slices.SortStableFunc(signals, func(a, b *calibrationv1.SignalReport) int { return place(a) - place(b) })
	for _, r := range signals {
		out = append(out, c.Signal(r, hrefIn(c, at), func(id string) string { return at + "/table/" + url.PathEscape(id) }))
	}
	return out
}

// cardOf is one table's picture, for a sheet that is being read.
func (d *Desk) cardOf(w http.ResponseWriter, r *http.Request) error {
	job, n, err := subOf(r)
	if err != nil {
		return err
	}
	rev, err := d.client.Review(r.Context(), job, n)
	if err != nil {
		return err
	}
	for _, t := range rev.Report.Tables {
		if t.Id == r.PathValue("table") {
			return fragment(w, comparisonOf(rev).Card(t, "/sheet/"+client.Name(rev.Submission)+"/table/"+url.PathEscape(t.Id)))
		}
	}
	return errAway
}

// fragment sends a part of a page, for its script. Whoever does not wait for it gets nothing else instead.
func fragment(w http.ResponseWriter, html template.HTML) error {
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	_, _ = w.Write([]byte(html))
	return nil
}
