package desk

import (
	"context"
	"fmt"
	"net/http"
	"slices"

	"witnessmark/client"
	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/store/record"
)

func roadAt(j *recordv1.Job) string { return fmt.Sprintf("/job/%d/road", j.GetNumber()) }

// roadBody is a job as whoever stands in the bay has it before them.
type roadBody struct {
	Job      *recordv1.Job
	Bay      *client.Bay
	Alarms   []alarmLine
	InCar    string        // the name of what is in the car; empty where nobody knows
	Owed     string        // what is to be read back, also before that is an alarm
	Day      *corridorLine // the newest corridor; nil for none
	Offer    *offer        // nil where nothing is to be collected
	Why      string        // then why
	Choose   bool          // there are releases all the same, and this person may collect one
	Cautions string
	Collects bool    // this person may
	Fields   []field // by which the car is told apart; they stay on the page
	Waiting  []waitingLine
	Last     *heldRun // what the last run showed; nil without a run
	RunOf    string   // the map that was in the car then
	Runs     [][]string
	NoRuns   string // why those that there are cannot be shown
	Files    []takenAt
	Stays    *recordv1.Submission // of the newest corridor, once it is closed
	Yes      *client.Yes          // to what stays by itself; nil for none
	Closes   bool                 // this person may close the corridor
}

// waitingLine is a submission that lies outside, or waits for another reason.
type waitingLine struct {
	*recordv1.Submission
	Says string
}

// takenAt is what was collected at this desk, and where its files are.
type takenAt struct {
	*takenFiles
	At string
}

// How much of a release, and of what waits, stands on the page.
const (
	mostDiffering = 6
	mostWaiting   = 3
)

const roadCautions = "Before it is loaded: car strapped, guards closed, fans and extraction on, nobody in line with the wheels, a second person at the stop. First loads short; stop at the first thing that is not as expected."

// road is what the technician at the rolling road has before them: it renews itself, and a key collects what is new.
func (d *Desk) road(w http.ResponseWriter, r *http.Request) error {
	p := d.base(r, "")
	j, err := d.jobAt(r)
	if err != nil {
		return err
	}
	b := roadBody{Job: j, Cautions: roadCautions, Collects: p.may(collectDeed.kind) == "" && j.GetState() != "closed", Closes: closeCorridorDeed.why(p, j) == "",
		Fields: []field{{Kind: "line", Name: "frame", Label: "Frame number of the car in the bay"}, {Kind: "file", Name: "fresh", Label: "or a fresh read of it"}, formatField("as the read came in")}}
	if b.Bay, err = d.client.Bay(j.GetNumber()); err != nil {
		return err
	}
	if b.Alarms, err = d.alarmsOf(p, j.GetCar()); err != nil {
		return err
	}
	for _, a := range j.GetAlarms() {
		if a.GetAlarm() == record.NotReadBack {
			b.Owed = sentence(a.GetSays())
		}
	}
	err = d.client.View(func(s *record.State) error {
		if in, known := s.PresumedIn(j.GetNumber()); known {
			b.InCar = in.String()
		}
		return nil
	})
	if err != nil {
		return err
	}
	if b.Offer, b.Why = d.offers(r.Context(), b.Bay); b.Offer == nil && len(releases(j)) > 1 {
		b.Choose = b.Collects
	}
	p.Live, p.Title = true, fmt.Sprintf("Rolling road: job %d, %s", j.GetNumber(), text(j.GetPlate()))
	if b.Offer != nil {
		p.Title = b.Offer.Name + " to collect: " + p.Title
	}
	b.ends()
	b.Waiting = d.waitingOf(r.Context(), j, func(*recordv1.Submission) bool { return true })
	d.runsBeside(r.Context(), &b)
	b.Files = d.takenOf(j)
	d.show(w, p, http.StatusOK, "road", b)
	return nil
}

// ends says how the day stands: its corridor, and of a closed one what stays.
func (b *roadBody) ends() {
	list := b.Job.GetCorridors()
	if len(list) == 0 {
		return
	}
	line := asCorridorLine(list[len(list)-1])
	b.Day, b.Stays = &line, record.SubmissionOf(b.Job, line.GetKept())
	if yes := client.YesTo(b.Job, b.Stays); b.Stays != nil && yes != nil && yes.Corridor == nil {
		b.Yes = yes
	}
}

// waitingOf are the newest of those that wait, and why.
func (d *Desk) waitingOf(ctx context.Context, j *recordv1.Job, among func(*recordv1.Submission) bool) (out []waitingLine) {
	for _, s := range slices.Backward(j.GetSubmissions()) {
		if s.GetState() != record.Waiting || !among(s) || len(out) == mostWaiting {
			continue
		}
		one := waitingLine{s, "Waits for a sign-off."}
		if s.GetCorridor() != nil {
			if rev, err := d.client.Review(ctx, s.GetJob(), s.GetNumber()); err != nil {
				one.Says = d.plain(err)
			} else {
				one.Says = sentence(rev.Corridor.Says()) + "."
			}
		}
		out = append(out, one)
	}
	return out
}

// takenOf is what was collected of a job at this desk, the newest first.
func (d *Desk) takenOf(j *recordv1.Job) (out []takenAt) {
	d.taken.newest(func(id string, t *takenFiles) {
		if t.Job.GetNumber() == j.GetNumber() {
			out = append(out, takenAt{t, "/taken/" + id})
		}
	})
	return out
}
