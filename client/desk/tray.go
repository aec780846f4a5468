package desk

import (
	"context"
	"fmt"
	"net/http"
	"strconv"
	"strings"
	"time"

	"witnessmark/client"
	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/store/record"
)

// slip is one thing that waits, as it lies in the tray.
type slip struct {
	client.Wait
	Href, Does string
}

type trayBody struct {
	First      []first  // what a lead has to do before anybody can work; none once it is done
	Runs       []string // how the server runs that was started from here
	Alarms     []alarmLine
	MoreAlarms int // on the pages after this one
	Slips      []slip
	More       int // on the pages after this one
	Text       string
	Jobs       jobsBody // the newest open ones
	Open       bool     // may open a job
	Backup     string   // why one is due, for a lead

	// The addresses of the pages before and after this one; empty for none.
	AlarmsBefore, AlarmsAfter, Before, After string
}

// What lies on one page of a tray, and how far what waits is counted for all pages.
const (
	mostSlips   = 50
	mostAlarms  = 50
	mostCounted = 999
)

// does is what is to be done, and where, about each kind of wait.
var does = map[string]struct{ word, deed string }{
	record.ToRead: {"Read", "read"}, record.ToSubmit: {"Work on", "submit"}, record.ToSign: {"Sign or return", ""}, record.ToSignAgain: {"Sign again, or recall", ""},
	record.ToReturn: {"Return", ""}, record.ToRevise: {"Revise", ""}, record.ToCollect: {"Collect", "collect"}, record.ToReadBack: {"Read back", "readback"},
}

func slipOf(w client.Wait) slip {
	do := does[w.Waits]
	s := slip{w, "/sheet/" + w.Name, do.word + " " + w.Name}
	if do.deed != "" {
		s.Href = fmt.Sprintf("/job/%d/%s", w.Job, do.deed)
	}
	if w.Of.Part == record.TheJob {
		s.Does = do.word + " job " + w.Name
	}
	if w.Waits == record.ToCollect {
		s.Href += fmt.Sprintf("?submission=%d", w.Of.N)
	}
	return s
}

func (d *Desk) tray(w http.ResponseWriter, r *http.Request) error {
	p := d.base(r, "Tray")
	p.Live = true
	b := trayBody{Open: p.may("job") == "", Text: strings.TrimSpace(r.URL.Query().Get("text"))}
	if p.has("lead") {
		b.Backup = d.backup.due(!p.Away, func() (client.Condition, error) {
			return d.client.Condition(context.WithoutCancel(r.Context())) // the page may be gone before the answer
		})
	}
	err := d.client.View(func(s *record.State) error {
		due := record.Due(s.Alarms(0), time.Now())
		from := numberIn(r, "alarms")
		if from >= len(due) { // they have ended
			from = 0
		}
		to := min(from+mostAlarms, len(due))
		for _, a := range due[from:to] {
			j, _ := s.Job(a.GetJob())
			b.Alarms = append(b.Alarms, alarmLines(p, j, []*recordv1.Alarm{a})...)
		}
		if b.MoreAlarms = len(due) - to; b.MoreAlarms > 0 {
			b.AlarmsAfter = turned(r, "alarms", to)
		}
		if from > 0 {
			b.AlarmsBefore = turned(r, "alarms", max(0, from-mostAlarms))
		}
		return nil
	})
	if err != nil {
		return err
	}
	f := client.WaitFilter{Text: b.Text, Skip: numberIn(r, "skip"), Most: mostSlips}
	tray, err := d.client.FindWaits(r.Context(), f)
	if err == nil && len(tray.Waits) == 0 && f.Skip > 0 { // they have been done
		f.Skip = 0
		tray, err = d.client.FindWaits(r.Context(), f)
	}
	if err != nil {
		return err
	}
	for _, one := range tray.Waits {
		b.Slips = append(b.Slips, slipOf(one))
	}
	if b.More = tray.More; b.More > 0 {
		b.After = turned(r, "skip", f.Skip+len(b.Slips))
	}
	if f.Skip > 0 {
		b.Before = turned(r, "skip", max(0, f.Skip-mostSlips))
	}
	if b.Jobs, err = d.find(client.JobFilter{Query: record.Query{State: "open"}}); err != nil {
		return err
	}
	b.Runs = d.daemon
	if b.First, err = d.firstOf(p); err != nil {
		return err
	}
	d.show(w, p, http.StatusOK, "tray", b)
	return nil
}

// waiting is how much waits for a person, alarms too; it is not counted on for ever.
func waiting(s *record.State, me *recordv1.Person) string {
	n := len(record.Due(s.Alarms(0), time.Now()))
	one := s.Genesis().GetOnePerson()
	s.Waits(func(w record.Wait) bool {
		if w.May(me, one) {
			n++
		}
		return n <= mostCounted
	})
	switch {
	case n == 0:
		return ""
	case n > mostCounted:
		return fmt.Sprintf("%d+", mostCounted)
	}
	return strconv.Itoa(n)
}

func (p page) wrote(s *recordv1.Submission) bool {
	return s.GetSubmitted().GetPerson() == p.Me.GetName()
}
