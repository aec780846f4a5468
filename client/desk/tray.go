package desk

import (
	"fmt"
	"net/http"
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
	Alarms []alarmLine
	Slips  []slip
	More   int // that are left out
	Text   string
	Jobs   jobsBody // the newest open ones
	Open   bool     // may open a job
}

// mostSlips is how much of what waits lies in a tray, and is looked through for what is asked.
const mostSlips = 200

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

// has says whether a text stands in what is shown of it.
func (s slip) has(text string) bool {
	return strings.Contains(strings.ToLower(strings.Join([]string{s.Does, s.Plate, s.Author, s.Verdict, s.Says, s.Finding}, "\n")), strings.ToLower(text))
}

func (d *Desk) tray(w http.ResponseWriter, r *http.Request) error {
	p := d.base(r, "Tray")
	p.Live = true
	b := trayBody{Open: p.may("job") == "", Text: strings.TrimSpace(r.URL.Query().Get("text"))}
	err := d.client.View(func(s *record.State) error {
		for _, a := range s.Alarms(0) {
			j, _ := s.Job(a.GetJob())
			b.Alarms = append(b.Alarms, alarmLines(p, j, []*recordv1.Alarm{a})...)
		}
		return nil
	})
	if err != nil {
		return err
	}
	tray, err := d.client.Tray(r.Context(), mostSlips)
	if err != nil {
		return err
	}
	b.More = tray.More
	for _, one := range tray.Waits {
		if s := slipOf(one); s.has(b.Text) {
			b.Slips = append(b.Slips, s)
		}
	}
	if b.Jobs, err = d.find(client.JobFilter{Query: record.Query{State: "open"}}); err != nil {
		return err
	}
	d.show(w, p, http.StatusOK, "tray", b)
	return nil
}

// waiting is how much waits for a person, alarms too.
func waiting(s *record.State, me *recordv1.Person) (n int) {
	n = len(record.Due(s.Alarms(0), time.Now()))
	one := s.Genesis().GetOnePerson()
	s.Waits(func(w record.Wait) bool {
		if w.May(me, one) {
			n++
		}
		return true
	})
	return n
}

func (p page) wrote(s *recordv1.Submission) bool {
	return s.GetSubmitted().GetPerson() == p.Me.GetName()
}
