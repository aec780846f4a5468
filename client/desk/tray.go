package desk

import (
	"fmt"
	"net/http"
	"slices"
	"strconv"

	"witnessmark/client"
	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/store/record"
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
	Alarms []alarmLine
	Piles  []pile
	Jobs   []jobLine // open ones
	Closed bool      // there are others
	Open   bool      // may open a job
}

type jobLine struct {
	Job      *recordv1.Job
	Newest   *recordv1.Submission
	Verdict  string
	State    string
	Releases []string
}

func (d *Desk) tray(w http.ResponseWriter, r *http.Request) error {
	p := d.base(r, "Tray")
	p.Live = true
	body := trayBody{Open: p.may("job") == ""}
	piles := []struct {
		title string
		of    func(p page, j *recordv1.Job, onePerson bool) []item
	}{{"To sign or return", toSign}, {"To collect, write and read back", toBay}, {"To read out of the car", toRead}, {"Came back to you, or waits for your work", toCalibrate}}
	found := make([][]item, len(piles))
	err := d.client.View(func(s *record.State) error {
		for _, a := range s.Alarms(0) {
			j, _ := s.Job(a.GetJob())
			body.Alarms = append(body.Alarms, alarmLines(p, j, []*recordv1.Alarm{a})...)
		}
		one := s.Genesis().GetOnePerson()
		s.OpenJobs(func(j *recordv1.Job) bool {
			for i, pile := range piles {
				found[i] = append(found[i], pile.of(p, j, one)...)
			}
			body.Jobs = append(body.Jobs, lineOf(j))
			return true
		})
		body.Closed = int(s.Head().GetJobs()) > len(body.Jobs)
		return nil
	})
	if err != nil {
		return err
	}
	for i, items := range found {
		if len(items) > 0 {
			body.Piles = append(body.Piles, pile{piles[i].title, items})
		}
	}
	slices.Reverse(body.Jobs)
	d.show(w, p, http.StatusOK, "tray", body)
	return nil
}

// pageOf is how many entries or jobs stand on one page.
const pageOf = 200

type jobsBody struct {
	Jobs  []jobLine
	Older uint32 // where the next page begins; 0 where there is none
}

// jobs lists every job in pages, the newest first.
func (d *Desk) jobs(w http.ResponseWriter, r *http.Request) error {
	p := d.base(r, "Every job")
	before, _ := strconv.ParseUint(r.URL.Query().Get("before"), 10, 32) // what is no number is no bound
	var b jobsBody
	err := d.client.View(func(s *record.State) error {
		n := s.Head().GetJobs()
		if before != 0 {
			n = min(n, uint32(before)-1)
		}
		for ; n > 0 && len(b.Jobs) < pageOf; n-- {
			if j, ok := s.Job(n); ok {
				b.Jobs = append(b.Jobs, lineOf(j))
			}
		}
		if n > 0 {
			b.Older = n + 1
		}
		return nil
	})
	if err != nil {
		return err
	}
	d.show(w, p, http.StatusOK, "jobs", b)
	return nil
}

// verdictOf is a submission's verdict by the newest revisions, as far as the ledger says.
func verdictOf(s *recordv1.Submission) string {
	if worse := s.GetJudgedWorse(); worse != nil {
		return worse.GetVerdict()
	}
	return s.GetJudgement().GetVerdict()
}

func itemOf(j *recordv1.Job, what, href, why string) item {
	return item{Href: href, What: what, Car: text(j.GetPlate()), Why: why}
}

func sheetItem(j *recordv1.Job, s *recordv1.Submission, why string) item {
	it := itemOf(j, client.Name(s), "/sheet/"+client.Name(s), why)
	it.Verdict = verdictOf(s)
	return it
}

func (p page) wrote(s *recordv1.Submission) bool {
	return s.GetSubmitted().GetPerson() == p.Me.GetName()
}

// toSign is what waits for a yes or a no that this person may give.
func toSign(p page, j *recordv1.Job, onePerson bool) (out []item) {
	for _, s := range j.GetSubmissions() {
		if s.GetState() != record.Waiting || p.wrote(s) && !onePerson {
			continue
		}
		by := "by " + s.GetSubmitted().GetPerson()
		switch v := verdictOf(s); {
		case v == "danger" && p.may("return") == "":
			out = append(out, sheetItem(j, s, by+": nobody may sign it; it is to be returned"))
		case v != "danger" && p.may("sign_off") == "" && (v != "warning" || p.has("lead")):
			out = append(out, sheetItem(j, s, by+": waits for a sign-off"))
		}
	}
	return out
}

// toBay is what a technician takes to the bay, and reads again afterwards.
func toBay(p page, j *recordv1.Job, _ bool) (out []item) {
	if p.may("collect") != "" {
		return nil
	}
	for _, s := range releases(j) {
		later := func(o *recordv1.Submission) bool {
			return o.GetNumber() > s.GetNumber() && o.GetSubmitted().GetPerson() == s.GetSubmitted().GetPerson()
		}
		if !s.GetCollected() && !slices.ContainsFunc(releases(j), later) {
			out = append(out, itemOf(j, "Collect "+client.Name(s), fmt.Sprintf("/job/%d/collect?submission=%d", j.GetNumber(), s.GetNumber()), "released, and not collected yet"))
		}
	}
	if c := toReadBack(j); c != nil {
		out = append(out, itemOf(j, "Read back "+ofJob(j.GetNumber(), c.GetSubmission()), fmt.Sprintf("/job/%d/readback", j.GetNumber()),
			"collected by "+c.GetCollected().GetPerson()+"; after writing, the controller is read again"))
	}
	return out
}

// toReadBack is the last collection, where no read-back followed it.
func toReadBack(j *recordv1.Job) *recordv1.Collection {
	taken, back := j.GetCollections(), j.GetReadBacks()
	if len(taken) == 0 || len(back) > 0 && back[len(back)-1].GetAdded().GetEntry() > taken[len(taken)-1].GetCollected().GetEntry() {
		return nil
	}
	return taken[len(taken)-1]
}

func toRead(p page, j *recordv1.Job, _ bool) []item {
	if record.AsFound(j) != nil || p.may("read") != "" {
		return nil
	}
	return []item{itemOf(j, fmt.Sprintf("Job %d", j.GetNumber()), fmt.Sprintf("/job/%d/read", j.GetNumber()), "its controller has not been read yet")}
}

// toCalibrate is what an author has to do: what came back, and cars that nobody has worked on.
func toCalibrate(p page, j *recordv1.Job, _ bool) []item {
	if p.may("submission") != "" {
		return nil
	}
	if len(j.GetSubmissions()) == 0 && record.AsFound(j) != nil && p.has("calibrator") {
		return []item{itemOf(j, fmt.Sprintf("Job %d", j.GetNumber()), fmt.Sprintf("/job/%d/submit", j.GetNumber()), "was read; nothing has been submitted yet")}
	}
	for _, s := range slices.Backward(j.GetSubmissions()) {
		if !p.wrote(s) {
			continue
		}
		if s.GetState() == record.Returned {
			return []item{sheetItem(j, s, "returned by "+s.GetReturned().GetPerson()+": "+s.GetReturn().GetReason())}
		}
		return nil // my newest one is elsewhere
	}
	return nil
}

func lineOf(j *recordv1.Job) jobLine {
	l := jobLine{Job: j, State: "opened, not read yet"}
	if record.AsFound(j) != nil {
		l.State = "read"
	}
	if n := len(j.GetSubmissions()); n > 0 {
		l.Newest = j.GetSubmissions()[n-1]
		l.State, l.Verdict = client.Name(l.Newest)+" is "+l.Newest.GetState(), verdictOf(l.Newest)
	}
	if j.GetState() == "closed" {
		l.State = "closed, " + j.GetOutcome() + "; " + l.State
	}
	for _, s := range releases(j) {
		l.Releases = append(l.Releases, client.Name(s))
	}
	return l
}
