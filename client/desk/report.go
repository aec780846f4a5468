package desk

import (
	"fmt"
	"html/template"
	"math"
	"net/http"
	"net/url"

	"google.golang.org/protobuf/proto"

	"witnessmark/client"
	"witnessmark/client/desk/view"
	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/store/record"
)

// reportBody is what a read or a read-back showed when it was entered.
type reportBody struct {
	Name     record.Name
	Job      *recordv1.Job
	Says     string
	Verdict  string // empty where nothing is judged
	Findings template.HTML
	Signals  []template.HTML
	Cards    []cardFolder
	Pictures bool // the images are there
	Changed  bool // it is what changed in a car, and no judgement of one image
	Get      bool // a working copy can be had
}

// enteredAt is the report that the address names, as it is drawn.
func (d *Desk) enteredAt(r *http.Request) (b reportBody, c *view.Comparison, err error) {
	if b.Name, err = record.ParseName(r.PathValue("name")); err != nil {
		return b, nil, errAway
	}
	var e *client.Entered
	switch b.Name.Part {
	case record.ARead:
		got, err := d.client.ReadReport(r.Context(), b.Name.Job, b.Name.N)
		if err != nil {
			return b, nil, err
		}
		b.Job, b.Says, e = got.Job, "The read judged by itself, when it was added.", got.Check
		if got.Changed != nil {
			b.Says, b.Changed, e = "What somebody changed in the car since it was last in.", true, got.Changed
		}
	case record.AReadback:
		got, err := d.client.ReadbackReport(r.Context(), b.Name.Job, b.Name.N)
		if err != nil {
			return b, nil, err
		}
		b.Job, e = got.Job, got.Report
		switch {
		case got.Readback.GetNotPossible() != "":
			b.Says = "It could not be read back: " + got.Readback.GetNotPossible() + "."
		case got.Readback.GetMatches():
			b.Says = "It matches what was written."
		default:
			b.Says, b.Changed = "What was found in the controller, against what was written.", true
		}
	default:
		return b, nil, errAway
	}
	b.Get = !b.Job.GetImagesErased()
	if e == nil {
		return b, nil, nil
	}
	report := e.Report
	if b.Changed { // nobody submitted it, so there is nothing to judge
		report = proto.CloneOf(report)
		report.Verdict, report.Findings, report.Margins = "", nil, nil
	}
	b.Pictures = e.Base != nil && e.Candidate != nil
	return b, &view.Comparison{Report: report, Layout: e.Layout, Base: e.Base, Candidate: e.Candidate}, nil
}

func (d *Desk) report(w http.ResponseWriter, r *http.Request) error {
	p := d.base(r, "Report")
	b, c, err := d.enteredAt(r)
	if err != nil {
		return err
	}
	p.Title = fmt.Sprintf("Report of %s, %s", b.Name, text(b.Job.GetPlate()))
	if c != nil {
		at := reportAt(b.Name)
		if b.Verdict = c.Report.GetVerdict(); b.Verdict != "" {
			b.Findings = c.Findings(hrefIn(c, at))
		}
		b.Signals = signalsOf(c, at)
		b.Cards = cardsOf(c, at, math.MaxInt)
	}
	d.show(w, p, http.StatusOK, "report", b)
	return nil
}

// reportAt is the address of what a read or a read-back showed.
func reportAt(n record.Name) string { return "/report/" + n.String() }

func (d *Desk) reportTable(w http.ResponseWriter, r *http.Request) error {
	p := d.base(r, "Table")
	b, c, err := d.enteredAt(r)
	if err != nil {
		return err
	}
	if c == nil || c.Layout.ByID[r.PathValue("table")] == nil {
		return errAway
	}
	at := reportAt(b.Name)
	t := tableBody{Base: "what was last in the car", Candidate: b.Name.String(), Back: at, BackTo: "the report of " + b.Name.String(), At: at + "/table/"}
	if b.Name.Part == record.AReadback {
		t.Base = "what was written"
	}
	return d.showTable(w, r, p, t, c, view.Whole{Section: at + "/section/" + url.PathEscape(r.PathValue("table")), Href: hrefIn(c, at)})
}

func (d *Desk) reportSection(w http.ResponseWriter, r *http.Request) error {
	_, c, err := d.enteredAt(r)
	if err != nil {
		return err
	}
	if c == nil {
		return errAway
	}
	return sendSection(w, r, c)
}
