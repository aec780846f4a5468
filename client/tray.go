package client

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/store"
	"witnessmark/store/record"
	"witnessmark/tables/compare"
)

// Alarm is an alarm in force, as it is shown and as other programs get it.
type Alarm struct {
	Alarm string `json:"alarm"`
	Job   uint32 `json:"job"`
	Car   uint32 `json:"car"`
	Plate string `json:"plate"`
	// About is what settle takes; Submission is the file that may be in the car, or should be.
	About      string `json:"about"`
	Submission string `json:"submission"`
	// Since is when what raised it was admitted, RFC 3339 in UTC.
	Since string `json:"since"`
	Says  string `json:"says"`

	Entry uint64 `json:"-"` // that raised it
}

// Wait is something that waits for somebody, as it is shown and as other programs get it.
type Wait struct {
	// Waits is read, submit, sign, sign-again, return, revise, collect or read-back.
	Waits string `json:"wait"`
	// Name is a job, a submission, or the read as found.
	Name    string `json:"name"`
	Job     uint32 `json:"job"`
	Car     uint32 `json:"car"`
	Plate   string `json:"plate"`
	Verdict string `json:"verdict"` // by the newest revisions; empty where nothing is judged
	Author  string `json:"author"`
	Since   string `json:"since"`
	Says    string `json:"says"`
	// Finding is the worst finding of what is to be judged, in a line; empty where it cannot be had.
	Finding string `json:"finding"`

	Of    record.Name `json:"-"`
	Entry uint64      `json:"-"` // since
}

// Tray is what waits for a person: first the alarms, which are everybody's.
type Tray struct {
	Alarms []Alarm `json:"alarms"`
	Waits  []Wait  `json:"waits"`
	// More is how many waits are left out.
	More int `json:"more"`
}

// alarmsIn are alarms that count by this machine's clock, the oldest first, with what is known of their jobs.
func alarmsIn(s *record.State, alarms []*recordv1.Alarm) []Alarm {
	out := []Alarm{}
	for _, a := range record.Due(alarms, time.Now()) {
		j, _ := s.Job(a.GetJob())
		out = append(out, Alarm{Alarm: a.GetAlarm(), Job: a.GetJob(), Car: a.GetCar(), Plate: plateOf(j.GetPlate()), About: a.GetAbout(),
			Submission: fileOf(j, a), Since: admitted(s, a.GetSince()), Says: a.GetSays(), Entry: uint64(a.GetSince().GetEntry())})
	}
	slices.SortStableFunc(out, func(a, b Alarm) int { return int(a.Entry) - int(b.Entry) })
	return out
}

// fileOf is what should be in the car, or may be, by an alarm.
func fileOf(j *recordv1.Job, a *recordv1.Alarm) string {
	of, err := record.ParseName(a.GetAbout())
	if err != nil {
		return a.GetAbout()
	}
	written := func(job, sub uint32) string {
		if sub == 0 {
			return record.Name{Job: job, Part: record.ARead, N: max(1, record.AsFound(j).GetNumber())}.String()
		}
		return record.Name{Job: job, Part: record.ASubmission, N: sub}.String()
	}
	switch {
	case of.Part == record.AReadback && int(of.N) <= len(j.GetReadBacks()):
		return written(j.GetNumber(), j.GetReadBacks()[of.N-1].GetSubmission())
	case of.Part == record.ARead && int(of.N) <= len(j.GetReads()) && a.GetAlarm() == record.ChangedSince:
		last := j.GetReads()[of.N-1].GetLastKnown()
		return written(last.GetJob(), last.GetSubmission())
	case of.Part == record.ARollingRoad && j.GetInCar().GetKnown():
		return written(j.GetInCar().GetJob(), j.GetInCar().GetSubmission())
	}
	return a.GetAbout()
}

// admitted is when an event was admitted; of one of which only the entry is known, that says it.
func admitted(s *record.State, e *recordv1.Event) string {
	if e.GetAdmittedAt() != "" {
		return e.GetAdmittedAt()
	}
	at, _ := s.AdmittedAt(uint64(e.GetEntry()))
	return at
}

// AlarmsNow are the alarms in force in a job by this machine's clock, the oldest first; 0 asks for all jobs.
func (c *Client) AlarmsNow(job uint32) ([]Alarm, error) {
	return look(c, func(s *record.State) ([]Alarm, error) { return alarmsIn(s, s.Alarms(job)), nil })
}

// WaitFilter is which of what waits for the person is looked for.
type WaitFilter struct {
	// Text is words, each of which must begin a word of what is to be done, the author or the verdict, or one by which the job is
	// found (JobFilter).
	Text string
	// Skip and Most are the page: Most of 0 is UsualPage.
	Skip, Most int
}

// wanted says of each wait whether it is looked for.
func (f WaitFilter) wanted(s *record.State) func(record.Wait) bool {
	words := record.Words(f.Text)
	said := make([]map[uint32]bool, len(words))
	for i, word := range words {
		said[i] = map[uint32]bool{}
		for _, n := range s.Find(record.Query{Words: []string{word}, State: "open"}) {
			said[i][n] = true
		}
	}
	return func(w record.Wait) bool {
		if len(words) == 0 {
			return f.Text == ""
		}
		of := record.Said{Text: strings.Join([]string{w.What, w.Author, w.Verdict}, " ")}
		for i, word := range words {
			if !said[i][w.Of.Job] && !of.Has(word) {
				return false
			}
		}
		return true
	}
}

// Tray is what waits for the person, the worst first and then what has waited longest: at most so many, 0 for UsualPage.
func (c *Client) Tray(ctx context.Context, most int) (*Tray, error) {
	t, err := c.FindWaits(ctx, WaitFilter{Most: most})
	if err == nil {
		t.Alarms, err = c.AlarmsNow(0)
	}
	return t, err
}

// FindWaits is a page of what Tray answers with, without the alarms.
func (c *Client) FindWaits(ctx context.Context, f WaitFilter) (*Tray, error) {
	if f.Most <= 0 {
		f.Most = UsualPage
	}
	t := &Tray{Waits: []Wait{}}
	var toJudge []*recordv1.Submission // of each wait; nil where there is nothing to judge
	err := c.View(func(s *record.State) error {
		me, err := c.meIn(s)
		if err != nil {
			return err
		}
		one := s.Genesis().GetOnePerson()
		wanted := f.wanted(s)
		var waits []record.Wait
		found := 0
		s.Waits(func(w record.Wait) bool {
			if !w.May(me, one) || !wanted(w) {
				return true
			}
			if found >= f.Skip && len(waits) < f.Most {
				waits = append(waits, w)
			}
			found++
			return true
		})
		t.More = max(0, found-max(0, f.Skip)-len(waits))
		for _, w := range waits {
			j, err := jobIn(s, w.Of.Job)
			if err != nil {
				return err
			}
			shown, sub := waitIn(s, j, w)
			t.Waits, toJudge = append(t.Waits, shown), append(toJudge, sub)
		}
		return nil
	})
	for i := range t.Waits {
		if err == nil && toJudge[i] != nil {
			t.Waits[i].Finding, err = c.worstFinding(ctx, toJudge[i])
		}
	}
	return t, err
}

// waitIn tells a wait with what is known of its job, and which submission it is to be judged by.
func waitIn(s *record.State, j *recordv1.Job, w record.Wait) (out Wait, toJudge *recordv1.Submission) {
	out = Wait{Waits: w.What, Name: w.Of.String(), Job: w.Of.Job, Car: j.GetCar(), Plate: plateOf(j.GetPlate()), Verdict: w.Verdict,
		Author: w.Author, Of: w.Of, Entry: uint64(w.Since), Since: admitted(s, &recordv1.Event{Entry: w.Since})}
	var sub *recordv1.Submission
	if w.Of.Part == record.ASubmission {
		sub = record.SubmissionOf(j, w.Of.N)
	}
	switch w.What {
	case record.ToRead:
		out.Says = "its controller has not been read yet"
	case record.ToSubmit:
		out.Says = "was read; nothing has been submitted yet"
	case record.ToSign:
		out.Says = "by " + w.Author + ": waits for a sign-off"
		if record.IsRelease(sub) {
			out.Says = fmt.Sprintf("by %s, released by corridor %d alone and kept: waits for a lead's sign-off", w.Author, sub.GetByCorridor())
		}
	case record.ToSignAgain:
		signed, _, _ := record.Approved(j, sub)
		out.Says = fmt.Sprintf("signed as %s, and %s by newer revisions: waits for a new sign-off", signed.GetVerdict(), w.Verdict)
	case record.ToReturn:
		out.Says = "by " + w.Author + ": nobody may sign it; it is to be returned"
	case record.ToRevise:
		out.Says = "returned by " + sub.GetReturned().GetPerson() + ": " + sub.GetReturn().GetReason()
	case record.ToCollect:
		out.Says = "released, and not collected yet"
	case record.ToReadBack:
		out.Says = "collected by " + record.ToBeReadBack(j).GetCollected().GetPerson() + "; after writing, the controller is read again"
	}
	if w.What == record.ToSign || w.What == record.ToSignAgain || w.What == record.ToReturn {
		toJudge = sub
	}
	return out, toJudge
}

// worstFinding is the first finding of a submission's report that counts, in a line. Of a newer revision
// there is no report yet, and without the server perhaps none at all: then it is a warning's key.
func (c *Client) worstFinding(ctx context.Context, sub *recordv1.Submission) (string, error) {
	if worse := sub.GetJudgedWorse(); worse != nil {
		return firstKey(worse.GetWarnings()), nil
	}
	b, err := c.download(ctx, "the report of "+Name(sub), sub.GetJudgement().GetReportSha256())
	if kind := KindOf(err); kind == Away || kind == Refused || errors.Is(err, store.ErrNotFound) {
		return firstKey(sub.GetJudgement().GetWarnings()), nil
	}
	r := &calibrationv1.Report{}
	if err != nil || decode(b, r) != nil {
		return "", err // what no report is says nothing; signing finds that out
	}
	for _, f := range r.GetFindings() {
		if f.GetOrigin() != "inherited" {
			return findingText(r, f), nil
		}
	}
	return "", nil
}

func firstKey(warnings []string) string {
	if len(warnings) == 0 {
		return ""
	}
	return "warning " + warnings[0]
}

// findingText is a report's finding in a line.
func findingText(r *calibrationv1.Report, f *calibrationv1.Finding) string {
	text := f.GetSeverity() + " " + compare.Key(f)
	if w := f.GetWorst(); w != nil && w.Value != nil && w.Limit != nil {
		unit := unitIn(r, f)
		text += fmt.Sprintf(": %.5g%s, allowed %.5g%s", w.GetValue(), unit, w.GetLimit(), unit)
	} else if f.GetDetail() != "" {
		text += ": " + f.GetDetail()
	}
	return text
}

// unitIn is the unit behind a finding's numbers; empty of a ratio, and where the report does not have it, as of breakpoints.
func unitIn(r *calibrationv1.Report, f *calibrationv1.Finding) string {
	unit := ""
	for _, t := range r.GetTables() {
		if t.GetId() == f.GetTable() && f.GetWorst().GetAlong() == "" {
			unit = t.GetUnit()
		}
	}
	for _, s := range r.GetSignals() {
		if s.GetId() == f.GetSignal() {
			unit = s.GetUnit()
		}
	}
	if unit == "" || unit == "1" {
		return ""
	}
	return " " + unit
}
