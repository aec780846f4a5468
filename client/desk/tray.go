package desk

import (
	"fmt"
	"net/http"

	"witnessmark/client"
	recordv1 "witnessmark/proto/witnessmark/record/v1"
)

// item is one thing in the tray.
type item struct {
	Href, What, Car, Why, Verdict string
}

type pile struct {
	Title string
	Items []item
}

type trayBody struct {
	Piles []pile
	Jobs  []jobLine
	Open  bool // may open a job
}

type jobLine struct {
	Job    *recordv1.Job
	Newest *recordv1.Submission
	State  string
}

func (d *Desk) tray(w http.ResponseWriter, r *http.Request) error {
	p := d.base(r, "Tray")
	p.Live = true
	body := trayBody{Open: p.has("technician", "lead")}
	jobs := d.client.Jobs()
	one := d.client.OnePerson()
	for _, pile := range []pile{
		{"To sign or return", each(jobs, func(j *recordv1.Job) []item { return toSign(p, j, one) })},
		{"To collect, write and read back", each(jobs, func(j *recordv1.Job) []item { return toBay(p, j) })},
		{"To read out of the car", each(jobs, func(j *recordv1.Job) []item { return toRead(p, j) })},
		{"Came back to you, or waits for your work", each(jobs, func(j *recordv1.Job) []item { return toCalibrate(p, j) })},
	} {
		if len(pile.Items) > 0 {
			body.Piles = append(body.Piles, pile)
		}
	}
	for i := len(jobs) - 1; i >= 0; i-- {
		body.Jobs = append(body.Jobs, lineOf(jobs[i]))
	}
	d.show(w, r, http.StatusOK, "tray", p, body)
	return nil
}

func each(jobs []*recordv1.Job, fn func(*recordv1.Job) []item) (out []item) {
	for _, j := range jobs {
		out = append(out, fn(j)...)
	}
	return out
}

// toSign is what waits for a yes or a no that this person may give.
func toSign(p page, j *recordv1.Job, onePerson bool) (out []item) {
	for _, s := range j.Submissions {
		mine := s.Submitted.GetPerson() == p.Me.GetName()
		if s.State != "waiting" || mine && !onePerson {
			continue
		}
		it := item{Href: "/sheet/" + client.Name(s), What: client.Name(s), Car: j.Car, Verdict: s.Judgement.GetVerdict()}
		by := "by " + s.Submitted.GetPerson()
		switch v := it.Verdict; {
		case v == "danger" && p.has("technician", "calibrator", "lead"):
			it.Why = by + ": nobody may sign it; it is to be returned"
		case p.has("lead") || v != "warning" && p.has("calibrator"):
			it.Why = by + ": waits for a sign-off"
		default:
			continue
		}
		out = append(out, it)
	}
	return out
}

// toBay is what a technician takes to the bay, and reads again afterwards.
func toBay(p page, j *recordv1.Job) []item {
	if !p.has("technician", "lead") {
		return nil
	}
	if n := len(j.Collections); n > 0 && !readSince(j) {
		c := j.Collections[n-1]
		return append(fresh(j, c.Submission), item{Href: fmt.Sprintf("/job/%d/readback", j.Number), What: "Read back " + ofJob(j.Number, c.Submission), Car: j.Car,
			Why: "collected by " + c.Collected.GetPerson() + "; after writing, the controller is read again"})
	}
	return fresh(j, 0)
}

// fresh is a release that nobody has collected.
func fresh(j *recordv1.Job, last uint32) []item {
	if j.Release == 0 || j.Release == last {
		return nil
	}
	for _, c := range j.Collections {
		if c.Submission == j.Release {
			return nil
		}
	}
	return []item{{Href: fmt.Sprintf("/job/%d/collect", j.Number), What: "Collect " + ofJob(j.Number, j.Release), Car: j.Car, Why: "released, and not collected yet"}}
}

func readSince(j *recordv1.Job) bool {
	if len(j.ReadBacks) == 0 {
		return false
	}
	last := j.ReadBacks[len(j.ReadBacks)-1]
	return last.Added.GetEntry() > j.Collections[len(j.Collections)-1].Collected.GetEntry()
}

func toRead(p page, j *recordv1.Job) []item {
	if len(j.Reads) > 0 || !p.has("technician", "lead") {
		return nil
	}
	return []item{{Href: fmt.Sprintf("/job/%d/read", j.Number), What: fmt.Sprintf("Job %d", j.Number), Car: j.Car, Why: "its controller has not been read yet"}}
}

// toCalibrate is what an author has to do: what came back, and cars that nobody has worked on.
func toCalibrate(p page, j *recordv1.Job) []item {
	if !p.has("calibrator", "lead") {
		return nil
	}
	n := len(j.Submissions)
	if n == 0 {
		if len(j.Reads) == 0 || !p.has("calibrator") {
			return nil
		}
		return []item{{Href: fmt.Sprintf("/job/%d/submit", j.Number), What: fmt.Sprintf("Job %d", j.Number), Car: j.Car, Why: "was read; nothing has been submitted yet"}}
	}
	s := j.Submissions[n-1]
	if s.State != "returned" || s.Submitted.GetPerson() != p.Me.GetName() {
		return nil
	}
	return []item{{Href: "/sheet/" + client.Name(s), What: client.Name(s), Car: j.Car, Verdict: s.Judgement.GetVerdict(),
		Why: "returned by " + s.Returned.GetPerson() + ": " + s.Return.GetReason()}}
}

func lineOf(j *recordv1.Job) jobLine {
	l := jobLine{Job: j, State: "opened, not read yet"}
	if len(j.Reads) > 0 {
		l.State = "read"
	}
	if n := len(j.Submissions); n > 0 {
		l.Newest = j.Submissions[n-1]
		l.State = client.Name(l.Newest) + " is " + l.Newest.State
	}
	return l
}
