package desk

import (
	"cmp"
	"fmt"
	"net/http"
	"slices"

	"witnessmark/client"
	recordv1 "witnessmark/proto/witnessmark/record/v1"
)

// happened is one line of a job card, in the order of the ledger.
type happened struct {
	Event                          *recordv1.Event
	What, Text, Href, Verdict, SHA string
	Run                            bool // SHA is of a run's file, not of an image
}

// deed is something that can be done with a job: a link, or why this person may not.
type deed struct {
	Href, Label, Why string
}

type cardBody struct {
	Job      *recordv1.Job
	Happened []happened
	Deeds    []deed
	Pairs    bool       // two submissions can be compared
	Numbers  [][]string // of the car and its parts, and what they come to
}

func (d *Desk) card(w http.ResponseWriter, r *http.Request) error {
	n, _, err := jobOf(r)
	if err != nil {
		return err
	}
	p := d.base(r, fmt.Sprintf("Job %d", n))
	j, err := d.client.Job(n)
	if err != nil {
		return err
	}
	p.Title, p.Live = fmt.Sprintf("Job %d, %s", n, j.Car), true
	d.show(w, r, http.StatusOK, "card", p, cardBody{Job: j, Happened: story(j), Deeds: deeds(p, j), Pairs: len(j.Submissions) > 1, Numbers: client.NumberRows(j)})
	return nil
}

// story is everything that happened to a job.
func story(j *recordv1.Job) []happened {
	out := []happened{{Event: j.Opened, What: "opened"}}
	for _, r := range j.Reads {
		out = append(out, readLine(r))
	}
	for _, s := range j.Submissions {
		out = append(out, submissionLines(s)...)
	}
	for _, c := range j.Collections {
		h := happened{Event: c.Collected, What: "collected " + ofJob(j.Number, c.Submission), SHA: c.ImageSha256}
		switch c.CarCheckedBy {
		case "fresh-read":
			h.Text = "the car was told by a fresh read"
		case "frame":
			h.Text = "the car was told by its frame number"
		}
		out = append(out, h)
	}
	for _, b := range j.ReadBacks {
		out = append(out, backLine(j, b))
	}
	for _, r := range j.Runs {
		out = append(out, happened{Event: r.Added, What: fmt.Sprintf("run %d", r.Number), Text: "on the rolling road, " + r.When + " the work", SHA: r.FileSha256, Run: true})
	}
	slices.SortStableFunc(out, func(a, b happened) int { return cmp.Compare(a.Event.GetEntry(), b.Event.GetEntry()) })
	return out
}

func readLine(r *recordv1.Read) happened {
	h := happened{Event: r.Added, What: fmt.Sprintf("read %d", r.Number), SHA: r.Image.GetSha256()}
	if r.Original {
		h.What = "original read"
		h.Text = "kept for ever; judged by itself"
		h.Verdict = r.Check.GetVerdict()
	}
	if k := r.LastKnown; k != nil {
		if h.Text != "" {
			h.Text += "; "
		}
		if k.Same {
			h.Text += fmt.Sprintf("as job %d left the car", k.Job)
		} else {
			h.Text += fmt.Sprintf("not as job %d left the car: somebody changed it since", k.Job)
		}
	}
	return h
}

func submissionLines(s *recordv1.Submission) []happened {
	id, href := client.Name(s), "/sheet/"+client.Name(s)
	out := []happened{{Event: s.Submitted, What: "submitted " + id, Text: s.Note, Href: href, Verdict: s.Judgement.GetVerdict(), SHA: s.Image.GetSha256()}}
	if s.Signed != nil {
		h := happened{Event: s.Signed, What: "signed off " + id, Href: href, Verdict: s.SignOff.GetJudgement().GetVerdict()}
		if s.SignOff.GetByAuthor() {
			h.Text = "signed by its author: " + s.SignOff.GetReason()
		}
		if s.Voided {
			h.Text += " This sign-off is void: its key was compromised."
		}
		out = append(out, h)
	}
	if s.Returned != nil {
		out = append(out, happened{Event: s.Returned, What: "returned " + id, Text: s.Return.GetReason(), Href: href})
	}
	return out
}

func backLine(j *recordv1.Job, b *recordv1.Readback) happened {
	h := happened{Event: b.Added, What: "read back " + ofJob(j.Number, b.Submission), SHA: b.Image.GetSha256()}
	switch {
	case b.NotPossible != "":
		h.What, h.Text = "written, not read back: "+ofJob(j.Number, b.Submission), b.NotPossible
	case b.Matches:
		h.Text = "it matches what was written"
	default:
		h.Text = "it differs from what was written"
	}
	return h
}

// deeds is everything that can be done with a job, and why not where it cannot.
func deeds(p page, j *recordv1.Job) []deed {
	at := fmt.Sprintf("/job/%d/", j.Number)
	bay := "This is a technician's or a lead's to do; you are " + p.Roles + "."
	list := []struct {
		deed
		allowed bool
		role    string
		ready   bool
		not     string
	}{
		{deed{at + "read", "Add a read", ""}, p.has("technician", "lead"), bay, true, ""},
		{deed{at + "submit", "Submit a modified image", ""}, p.has("calibrator", "lead"), "This is a calibrator's or a lead's to do; you are " + p.Roles + ".",
			len(j.Reads) > 0, "The job has no read yet, so there is nothing to compare with."},
		{deed{at + "collect", "Collect the release", ""}, p.has("technician", "lead"), bay, j.Release != 0, "Nothing is released: a submission has to be signed off first."},
		{deed{at + "original", "Collect the original", ""}, p.has("technician", "lead"), bay, len(j.Reads) > 0, "The job has no read yet."},
		{deed{at + "readback", "Add a read-back", ""}, p.has("technician", "lead"), bay, len(j.Collections) > 0, "Nothing was collected, so nothing was written that could be read back."},
		{deed{at + "runs", "Add a run", ""}, p.has("technician", "lead"), bay, true, ""},
	}
	var out []deed
	for _, l := range list {
		switch {
		case !l.allowed:
			l.deed.Why = l.role
		case !l.ready:
			l.deed.Why = l.not
		}
		out = append(out, l.deed)
	}
	return out
}
