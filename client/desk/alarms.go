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
	Ends   string // what ends it
	Settle string // where this person can settle it; empty where they cannot
}

// endsBy says what ends each alarm, and whether a lead's word does.
var endsBy = map[string]struct {
	words  string
	settle bool
}{
	record.ReadbackDiffers: {"A read-back that matches, or a new read, ends it.", false},
	record.NotReadBack:     {"A read-back ends it, or saying why there can be none.", false},
	record.OlderLimits:     {"A new sign-off, or a return, ends it.", false},
	record.Recalled:        {"A read-back of what else was written ends it, or a lead settles it.", true},
	record.ChangedSince:    {"A lead settles it.", true},
	record.RunDanger:       {"A lead settles it.", true},
}

// due are the alarms that count at a time.
func due(alarms []*recordv1.Alarm, now time.Time) (out []*recordv1.Alarm) {
	for _, a := range alarms {
		if t, err := time.Parse(time.RFC3339, a.GetDue()); err != nil || !now.Before(t) {
			out = append(out, a)
		}
	}
	return out
}

// alarmLines are the alarms of a job that count now.
func alarmLines(p page, j *recordv1.Job, alarms []*recordv1.Alarm) (out []alarmLine) {
	for _, a := range due(alarms, time.Now()) {
		l := alarmLine{Alarm: a, Plate: text(j.GetPlate()), Ends: endsBy[a.GetAlarm()].words}
		if endsBy[a.GetAlarm()].settle && p.may("settle") == "" {
			l.Settle = fmt.Sprintf("/job/%d/settle?alarm=%s", j.GetNumber(), url.QueryEscape(a.GetAbout()+" "+a.GetAlarm()))
		}
		out = append(out, l)
	}
	return out
}
