package desk

import (
	"fmt"
	"html/template"
	"net/http"
	"net/url"
	"slices"

	"witnessmark/client"
	"witnessmark/client/desk/view"
	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/store/record"
)

// drawnAtOnce is how many tables come with the sheet; the others come as they are scrolled to.
const drawnAtOnce = 12

type sheetBody struct {
	Review   *client.Review
	Sub      *recordv1.Submission
	Alarms   []alarmLine // of the car
	Report   *calibrationv1.Report
	At       string // the sheet's address
	WhoSigns string
	Findings template.HTML
	Cards    []tableCard
	Lazy     bool
	Meant    []meantTable
	Needs    []need
	NotSign  string // why this person may not sign
	Return   bool   // it can be returned, or recalled
	Recall   bool
	Withdraw bool
	Others   []*recordv1.Submission // of the same job
	Visited  *visitedBody           // nil where the job has no before-run
}

type tableCard struct {
	ID, Href, Fragment, Numbers string
	HTML                        template.HTML // empty: comes later
}

// meantTable is a table that the author named, or that changed.
type meantTable struct {
	ID             string
	Meant, Changed bool
}

// need is a reason that a signature needs.
type need struct {
	Key, Question, Severity, Value string
}

func (d *Desk) sheet(w http.ResponseWriter, r *http.Request) error {
	p, b, err := d.sheetOf(r)
	if err != nil {
		return err
	}
	d.show(w, p, http.StatusOK, "sheet", b)
	return nil
}

func (d *Desk) sheetOf(r *http.Request) (page, *sheetBody, error) {
	job, n, err := subOf(r)
	if err != nil {
		return page{}, nil, err
	}
	p := d.base(r, fmt.Sprintf("Sheet of %d.%d", job, n))
	rev, err := d.client.Review(r.Context(), job, n)
	if err != nil {
		return p, nil, err
	}
	s := rev.Submission
	p.Title = fmt.Sprintf("Sheet of %s, %s", client.Name(s), text(rev.Job.GetPlate()))
	b := &sheetBody{Review: rev, Sub: s, Report: rev.Report, At: "/sheet/" + client.Name(s), WhoSigns: whoSigns(rev, d.client.OnePerson()),
		Findings: view.Findings(rev.Report, rev.Layout()), Meant: meantOf(rev),
		Return: s.GetState() == record.Waiting || record.IsRelease(s), Recall: record.IsRelease(s),
		Withdraw: s.GetState() == record.Waiting && p.wrote(s)}
	if b.Alarms, err = d.alarmsOf(p, rev.Job.GetCar()); err != nil {
		return p, nil, err
	}
	all := r.URL.Query().Get("all") != ""
	base, candidate := rev.Images()
	for i, t := range rev.Report.Tables {
		c := tableCard{ID: t.Id, Href: b.At + "/table/" + url.PathEscape(t.Id), Fragment: b.At + "/card/" + url.PathEscape(t.Id),
			Numbers: fmt.Sprintf("%d of %d cells changed", t.Changed, t.Cells)}
		if i < drawnAtOnce || all {
			c.HTML = view.TableCard(rev.Report, t, rev.Layout(), base, candidate, c.Href)
		} else {
			b.Lazy = true
		}
		b.Cards = append(b.Cards, c)
	}
	b.Visited = d.visited(r.Context(), rev)
	if err := d.client.MaySign(rev); err != nil {
		if b.NotSign = err.Error(); s.GetState() != record.Waiting {
			b.WhoSigns = "Nothing is left to sign: it is " + s.GetState() + "."
		}
	} else {
		b.Needs = d.needs(rev)
	}
	for _, o := range rev.Job.Submissions {
		if o.Number != s.Number {
			b.Others = append(b.Others, o)
		}
	}
	return p, b, nil
}

// needs is what has to be answered before signing, each with its finding.
func (d *Desk) needs(rev *client.Review) []need {
	var out []need
	for _, key := range d.client.Needs(rev) {
		n := need{Key: key, Question: "You are the author. Why do you sign it yourself?"}
		for _, f := range rev.Report.Findings {
			if client.Key(f) == key {
				n.Severity, n.Question = f.Severity, f.Reason
			}
		}
		out = append(out, n)
	}
	return out
}

func whoSigns(r *client.Review, onePerson bool) string {
	but := ", and not its author, " + r.Submission.Submitted.GetPerson()
	if onePerson {
		but = "; in this one-person workshop its author may, with a reason"
	}
	switch r.Judgement.Verdict {
	case "danger":
		return "Nobody may sign it. It is returned, or the limits get a new revision."
	case "warning":
		reasons := "a reason for its one warning"
		if n := len(r.Judgement.Warnings); n != 1 {
			reasons = fmt.Sprintf("a reason for each of %d warnings", n)
		}
		return "A lead must sign it" + but + "; and say " + reasons + "."
	}
	return "A calibrator or a lead must sign it" + but + "."
}

// meantOf sets what the author meant beside what changed.
func meantOf(r *client.Review) []meantTable {
	var out []meantTable
	for _, id := range r.Submission.Meant {
		changed := slices.ContainsFunc(r.Report.Tables, func(t *calibrationv1.TableReport) bool { return t.Id == id })
		out = append(out, meantTable{id, true, changed})
	}
	for _, t := range r.Report.Tables {
		if !slices.Contains(r.Submission.Meant, t.Id) {
			out = append(out, meantTable{t.Id, false, true})
		}
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
	base, candidate := rev.Images()
	for _, t := range rev.Report.Tables {
		if t.Id == r.PathValue("table") {
			w.Header().Set("Content-Type", "text/html; charset=utf-8")
			_, err := w.Write([]byte(view.TableCard(rev.Report, t, rev.Layout(), base, candidate,
				"/sheet/"+client.Name(rev.Submission)+"/table/"+url.PathEscape(t.Id))))
			return err
		}
	}
	return errAway
}
