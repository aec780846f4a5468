package desk

import (
	"fmt"
	"html/template"
	"net/http"
	"slices"

	"witnessmark/client"
	"witnessmark/client/desk/view"
	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/store/record"
	"witnessmark/tables/severity"
)

type sheetBody struct {
	Review   *client.Review
	Sub      *recordv1.Submission
	Alarms   []alarmLine // of the car
	Report   *calibrationv1.Report
	At       string // the sheet's address
	Stands   string // what is, or what must be done
	Asked    []client.Asked
	Counts   []string // of findings, by severity, worst first
	Findings template.HTML
	Cards    []cardFolder
	Lazy     bool
	Meant    []meantTable
	Get      bool // this person may take a working copy
	Needs    []need
	Long     bool                   // so many that a browser lays them out later
	NotSign  string                 // why this person may not sign
	Decide   string                 // what this person may do about it
	Way      []*recordv1.Submission // the releases up to this one, where it stays of a corridor
	Bounds   []string               // of the corridor that released it
	Return   bool                   // it can be returned, or recalled
	Recall   bool
	Withdraw bool
	Others   []*recordv1.Submission // of the same job
	Said     string                 // what was written for a return that was refused
	Notes    []noteLine
	NoteAt   string // where one is written; empty where none can be

	// What comes after the verdict and the findings is made when the page gets there.
	Signals func() []template.HTML
	Visited func() *visitedBody   // nil where the job has no before-run
	Held    func() []heldRun      // runs with its image, or its base's, in the car
	Reasons func() []returnReason // that a return can be filled from
}

// returnReason is a finding as a return would say it.
type returnReason struct {
	Key, Severity, Text string
	Ticked              bool
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
	b := &sheetBody{Review: rev, Sub: s, Report: rev.Report, At: "/sheet/" + client.Name(s), Stands: stands(rev, d.client.OnePerson()),
		Counts: countsOf(rev.Report), Meant: meantOf(rev), Notes: notesOf(rev.Job, s.GetNumber(), ""),
		Return: s.GetState() == record.Waiting || record.IsRelease(s), Recall: record.IsRelease(s),
		Withdraw: s.GetState() == record.Waiting && p.wrote(s)}
	if b.Alarms, err = d.alarmsOf(p, rev.Job.GetCar()); err != nil {
		return p, nil, err
	}
	drawn := comparisonOf(rev)
	b.Findings = drawn.Findings(hrefIn(drawn, b.At))
	b.Signals = func() []template.HTML { return signalsOf(drawn, b.At) }
	b.Visited = func() *visitedBody { return d.visited(r.Context(), rev) }
	b.Held = func() []heldRun { return d.heldWith(r.Context(), rev) }
	b.Reasons = func() (out []returnReason) {
		for _, f := range rev.Report.GetFindings() {
			key := client.Key(f)
			out = append(out, returnReason{key, f.GetSeverity(), drawn.Sentence(key, f), slices.Contains(r.Form["finding"], key)})
		}
		return out
	}
	b.Lazy = atOnce(r) < len(rev.Report.GetTables())
	b.Cards = cardsOf(drawn, b.At, atOnce(r))
	b.Asked = rev.Asked()
	b.Get = p.has("calibrator", "lead")
	b.Said = r.PostForm.Get("reason")
	if p.may("note") == "" {
		b.NoteAt = noteAt(rev.Job, n, "")
	}
	if err := d.client.MaySign(rev); err != nil {
		b.NotSign = err.Error()
	} else {
		b.Needs = d.needs(rev)
		b.Long = len(b.Needs) > view.LongList
	}
	b.Decide = decideOf(b)
	b.Way, b.Bounds = wayTo(rev), boundsOf(rev)
	for _, o := range rev.Job.Submissions {
		if o.Number != s.Number {
			b.Others = append(b.Others, o)
		}
	}
	return p, b, nil
}

// decideOf heads what this person may do about a submission.
func decideOf(b *sheetBody) string {
	no := "return"
	if b.Recall {
		no = "recall"
	}
	if b.NotSign == "" {
		return "Sign or " + no
	}
	return sentence(no)
}

// needs is what has to be answered before signing, each with its finding.
func (d *Desk) needs(rev *client.Review) []need {
	findings := map[string]*calibrationv1.Finding{}
	for _, f := range rev.Report.Findings {
		findings[client.Key(f)] = f
	}
	var out []need
	for _, key := range d.client.Needs(rev) {
		n := need{Key: key, Question: "You are the author. Why do you sign it yourself?"}
		if f := findings[key]; f != nil {
			n.Severity, n.Question = f.Severity, f.Reason
		}
		out = append(out, n)
	}
	return out
}

// stands says what is to be done about a submission that waits, and what is so of any other.
func stands(r *client.Review, onePerson bool) string {
	s := r.Submission
	switch s.GetState() {
	case record.Waiting:
		return whoSigns(r, onePerson)
	case record.Returned:
		return "Returned by " + s.GetReturned().GetPerson() + "."
	case record.InCar:
		return "It is in the car: a read-back matched it. " + sentence(approvedBy(r.Job, s)) + "." + byItself(r)
	case record.Released:
		if s.GetCollected() {
			return "Collected. " + sentence(approvedBy(r.Job, s)) + "." + byItself(r)
		}
		return sentence(approvedBy(r.Job, s)) + "; it can be collected." + byItself(r)
	}
	return "It is " + s.GetState() + "; nothing is left to sign."
}

// byItself asks for the sign-off that what stays of a corridor lacks; empty where it lacks none.
func byItself(r *client.Review) string {
	if y := client.YesTo(r.Job, r.Submission); y != nil && y.Corridor.GetKept() == r.Submission.GetNumber() {
		return " It stays, and a lead is asked to sign it by itself."
	}
	return ""
}

// approvedBy is whose yes a submission has, to itself or in advance; empty where it has none.
func approvedBy(j *recordv1.Job, s *recordv1.Submission) string {
	y := client.YesTo(j, s)
	switch {
	case y == nil:
		return ""
	case y.Corridor != nil:
		return y.InAdvance(when(y.By.GetSignedAt()))
	}
	return "signed off by " + y.By.GetPerson()
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

// countsOf says how many findings of each severity there are, worst first.
func countsOf(r *calibrationv1.Report) (out []string) {
	for _, word := range slices.Backward(severity.Words()) {
		n := 0
		for _, f := range r.GetFindings() {
			if f.GetSeverity() == word {
				n++
			}
		}
		if n > 0 {
			out = append(out, fmt.Sprintf("%d %s", n, word))
		}
	}
	return out
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
