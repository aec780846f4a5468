package desk

import (
	"fmt"
	"net/http"
	"slices"
	"strings"

	"witnessmark/client"
	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/store/record"
)

// happened is one line of a job card, in the order of the ledger.
type happened struct {
	*recordv1.CarEvent
	What, Text string // what is said of it in a word, and in full
	Said       string // what its author added
	Href       string
	Files      []*recordv1.NotedFile
}

// offered is a deed on the card, and why this person may not do it now.
type offered struct{ Href, Label, Why string }

type cardBody struct {
	Job      *recordv1.Job
	Alarms   []alarmLine
	Happened []happened
	Deeds    []offered
	More     []offered
	Releases []string
	Pairs    bool       // two submissions can be compared
	Numbers  [][]string // of the car and its parts, and what they come to
	Others   []uint32   // other jobs of this car
}

func (d *Desk) card(w http.ResponseWriter, r *http.Request) error {
	p := d.base(r, "")
	j, err := d.jobAt(r)
	if err != nil {
		return err
	}
	p.Title, p.Live = fmt.Sprintf("Job %d, %s", j.GetNumber(), text(j.GetPlate())), true
	b := cardBody{Job: j, Pairs: len(j.GetSubmissions()) > 1, Numbers: client.NumberRows(j)}
	for _, s := range releases(j) {
		b.Releases = append(b.Releases, client.Name(s))
	}
	if b.Alarms, err = d.alarmsOf(p, j.GetCar()); err != nil {
		return err
	}
	err = d.client.View(func(s *record.State) error {
		b.Happened, b.Others = story(j, s.CarHistory(j.GetCar()).GetEvents())
		return nil
	})
	if err != nil {
		return err
	}
	for _, o := range deeds() {
		one := offered{fmt.Sprintf("/job/%d/%s", j.GetNumber(), o.path), o.label, o.why(p, j)}
		switch {
		case j.GetState() == "closed" && !o.closed: // what takes nothing more
		case !o.more:
			b.Deeds = append(b.Deeds, one)
		case one.Why == "":
			b.More = append(b.More, one)
		}
	}
	d.show(w, p, http.StatusOK, "card", b)
	return nil
}

// releases are what can be collected of a job.
func releases(j *recordv1.Job) (out []*recordv1.Submission) {
	for _, s := range j.GetSubmissions() {
		if record.IsRelease(s) {
			out = append(out, s)
		}
	}
	return out
}

// story is everything that happened to a job, out of what happened to its car; others are the car's
// other jobs.
func story(j *recordv1.Job, events []*recordv1.CarEvent) (out []happened, others []uint32) {
	said := saidAt(j)
	for _, e := range events {
		if n := e.GetJob(); n != j.GetNumber() {
			if !slices.Contains(others, n) {
				others = append(others, n)
			}
			continue
		}
		h := happened{CarEvent: e, Said: said[e.GetEvent().GetEntry()]}
		h.What, h.Text, _ = strings.Cut(e.GetWhat(), ": ")
		if e.GetSubmission() != 0 {
			h.Href = "/sheet/" + ofJob(e.GetJob(), e.GetSubmission())
		}
		for _, n := range j.GetNotes() {
			if n.GetAdded().GetEntry() == e.GetEvent().GetEntry() {
				h.Files = n.GetFiles()
			}
		}
		out = append(out, h)
	}
	return out, others
}

// saidAt is what people added to what they did, by entry.
func saidAt(j *recordv1.Job) map[uint32]string {
	out := map[uint32]string{}
	for _, s := range j.GetSubmissions() {
		out[s.GetSubmitted().GetEntry()] = text(s.GetNote())
		if from := s.GetFrom(); from != 0 {
			out[s.GetSubmitted().GetEntry()] += fmt.Sprintf("\nStarted from %s.", ofJob(j.GetNumber(), from))
		}
		if s.GetSignOff().GetByAuthor() {
			out[s.GetSigned().GetEntry()] = s.GetSignOff().GetReason()
		}
	}
	for _, n := range j.GetNotes() {
		out[n.GetAdded().GetEntry()] = strings.TrimPrefix(n.GetTable()+": "+text(n.GetText()), ": ")
	}
	for _, c := range j.GetCollections() {
		switch c.GetCarCheckedBy() {
		case "fresh-read":
			out[c.GetCollected().GetEntry()] = "the car was told by a fresh read"
		case "frame":
			out[c.GetCollected().GetEntry()] = "the car was told by its frame number"
		}
	}
	if turns := j.GetTurns(); len(turns) > 0 {
		out[turns[len(turns)-1].GetEntry()] = j.GetBecause()
	}
	return out
}
