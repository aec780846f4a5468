package desk

import (
	"fmt"
	"net/url"
	"time"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/store/record"
)

// alarmLine is one alarm as it stands on a page.
type alarmLine struct {
	*recordv1.Alarm
	Plate  string
	Href   string // of what it is about
	Ends   string // what ends it
	Settle string // where this person can settle it; empty where they cannot
}

// endsBy says what ends each alarm.
var endsBy = map[string]string{
	record.ReadbackDiffers: "A read-back that matches, or a new read, ends it.",
	record.NotReadBack:     "A read-back ends it, or saying why there can be none.",
	record.OlderLimits:     "A new sign-off, or a return, ends it.",
	record.Recalled:        "A read-back of what else was written ends it, or a lead settles it.",
	record.ChangedSince:    "A lead settles it.",
	record.RunDanger:       "A lead settles it.",
	record.CorridorOnly:    "A lead's sign-off of it ends it, or the car being back as found.",
}

// alarmLines are the alarms of a job that count now.
func alarmLines(p page, j *recordv1.Job, alarms []*recordv1.Alarm) (out []alarmLine) {
	for _, a := range record.Due(alarms, time.Now()) {
		l := alarmLine{Alarm: a, Plate: text(j.GetPlate()), Href: fmt.Sprintf("/job/%d", j.GetNumber()), Ends: endsBy[a.GetAlarm()]}
		if about, err := record.ParseName(a.GetAbout()); err == nil {
			l.Href = hrefOf(about)
		}
		if record.Settleable(a.GetAlarm()) && p.may("settle") == "" {
			l.Settle = fmt.Sprintf("/job/%d/settle?alarm=%s", j.GetNumber(), url.QueryEscape(a.GetAbout()+" "+a.GetAlarm()))
		}
		out = append(out, l)
	}
	return out
}

// alarmsOf are the alarms of a car, whichever of its jobs they are of.
func (d *Desk) alarmsOf(p page, car uint32) (out []alarmLine, err error) {
	err = d.client.View(func(s *record.State) error {
		for _, j := range s.CarJobs(car) {
			out = append(out, alarmLines(p, j, j.GetAlarms())...)
		}
		return nil
	})
	return out, err
}
