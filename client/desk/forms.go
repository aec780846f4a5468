package desk

import (
	"fmt"
	"net/http"
	"strings"

	"witnessmark/client"
	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/tables/image"
)

// formBody is a form about a job, with what was typed so far.
type formBody struct {
	Job         *recordv1.Job // nil where the job is yet to be opened
	At          string
	Was         map[string]string
	Definitions []string
	Limits      []string
	Not         string // why this person may not, or not yet
	Vehicle     bool   // collecting needs to know the car
	Name        string // of what is taken
}

// form shows a form; problem is why the last try was refused.
func (d *Desk) form(w http.ResponseWriter, r *http.Request, name, title string, b formBody, problem error) {
	p := d.base(r, title)
	status := http.StatusOK
	if problem != nil {
		p.Problem, p.Hint, p.Title = d.plain(problem), hint(problem), "Not done: "+title
		status = statusOf(r, problem)
	}
	b.Was = map[string]string{}
	for k, v := range r.Form {
		if k != "passphrase" && len(v) > 0 {
			b.Was[k] = v[0]
		}
	}
	d.show(w, r, status, name, p, b)
}

// jobForm is the start of every form of a job: which, and whether deed label is open to this person.
func (d *Desk) jobForm(r *http.Request, what string) (formBody, error) {
	n, at, err := jobOf(r)
	if err != nil {
		return formBody{}, err
	}
	p := d.base(r, "")
	j, err := d.client.Job(n)
	if err != nil {
		return formBody{}, err
	}
	b := formBody{Job: j, At: at}
	for _, o := range deeds(p, j) {
		if strings.HasSuffix(o.Href, "/"+what) {
			b.Not = o.Why
		}
	}
	return b, nil
}

func (d *Desk) newJob(w http.ResponseWriter, r *http.Request) error {
	d.form(w, r, "open", "Open a job", d.openForm(r), nil)
	return nil
}

func (d *Desk) openForm(r *http.Request) formBody {
	p := d.base(r, "")
	b := formBody{At: "/job/new", Definitions: d.names(client.Definitions), Limits: d.names(client.Limits)}
	switch {
	case !p.has("technician", "lead"):
		b.Not = "A technician or a lead opens jobs; you are " + p.Roles + "."
	case len(b.Definitions) == 0 || len(b.Limits) == 0:
		b.Not = "A job needs a definition and limits, and a lead adds those first: witnessmark definition add, witnessmark limits add."
	}
	return b
}

func (d *Desk) names(kind string) (out []string) {
	seen := map[string]bool{}
	for _, doc := range d.client.Documents(kind) {
		if !seen[doc.Name] {
			seen[doc.Name] = true
			out = append(out, doc.Name)
		}
	}
	return out
}

func (d *Desk) openJob(w http.ResponseWriter, r *http.Request) error {
	n := client.NewJob{Car: r.PostFormValue("car"), Frame: r.PostFormValue("frame"), Definition: r.PostFormValue("definition"),
		Limits: r.PostFormValue("limits"), Fuel: r.PostFormValue("fuel"), Note: r.PostFormValue("note"), Parts: lines(r.PostFormValue("parts")),
		Numbers: lines(r.PostFormValue("numbers"))}
	err := d.confirmed(r, "open a job for "+n.Car)
	if err == nil {
		var j *recordv1.Job
		if j, err = d.client.OpenJob(r.Context(), n); err == nil {
			d.away(w, r, fmt.Sprintf("/job/%d", j.Number), fmt.Sprintf("You opened job %d.", j.Number))
			return nil
		}
	}
	d.form(w, r, "open", "Open a job", d.openForm(r), err)
	return nil
}

// upload is a form of a job with a file in it: it is kept, confirmed and handed on.
type upload struct {
	page, title, what string
	do                func(r *http.Request, j *recordv1.Job, path string, format image.Format) (note string, err error)
	lead              func(j *recordv1.Job) string // where to go on
	optional          bool                         // it can do without a file
}

func (d *Desk) uploadForm(w http.ResponseWriter, r *http.Request, u upload) error {
	b, err := d.jobForm(r, u.page)
	if err != nil {
		return err
	}
	d.form(w, r, u.page, fmt.Sprintf(u.title, b.Job.Number), b, nil)
	return nil
}

func (d *Desk) uploaded(w http.ResponseWriter, r *http.Request, u upload) error {
	b, err := d.jobForm(r, u.page)
	if err != nil {
		return err
	}
	note, err := d.take(w, r, u, b.Job)
	if err != nil {
		d.form(w, r, u.page, fmt.Sprintf(u.title, b.Job.Number), b, err)
		return nil
	}
	to := b.At
	if u.lead != nil {
		if j, err := d.client.Job(b.Job.Number); err == nil {
			to = u.lead(j)
		}
	}
	d.away(w, r, to, note)
	return nil
}

func (d *Desk) take(w http.ResponseWriter, r *http.Request, u upload, j *recordv1.Job) (string, error) {
	path, drop, err := d.saveFile(w, r, "file")
	if err != nil {
		return "", err
	}
	defer drop()
	if path == "" && !u.optional {
		return "", &client.Error{Kind: client.Usage, Text: "choose a file first"}
	}
	format, err := formatOf(r)
	if err != nil {
		return "", err
	}
	if err := d.confirmed(r, fmt.Sprintf(u.what, j.Number, j.Car)); err != nil {
		return "", err
	}
	return u.do(r, j, path, format)
}

func formatOf(r *http.Request) (image.Format, error) {
	if s := r.FormValue("format"); s != "" {
		return image.ParseFormat(s)
	}
	return "", nil
}

func (d *Desk) read() upload {
	return upload{page: "read", title: "Add a read to job %d", what: "add a read to job %d, %s",
		do: func(r *http.Request, j *recordv1.Job, path string, format image.Format) (string, error) {
			read, report, err := d.client.AddRead(r.Context(), j.Number, path, format)
			if err != nil {
				return "", err
			}
			note := fmt.Sprintf("You added read %d.", read.Number)
			if report != nil {
				note += " It is the original; judged by itself: " + report.Verdict + "."
			}
			if k := read.LastKnown; k != nil && !k.Same {
				note += fmt.Sprintf(" It is not as job %d left this car: somebody changed it since.", k.Job)
			}
			return note, nil
		}}
}

func (d *Desk) readForm(w http.ResponseWriter, r *http.Request) error {
	return d.uploadForm(w, r, d.read())
}
func (d *Desk) addRead(w http.ResponseWriter, r *http.Request) error {
	return d.uploaded(w, r, d.read())
}

func (d *Desk) submission() upload {
	return upload{page: "submit", title: "Submit to job %d", what: "submit a modified image to job %d, %s",
		do: func(r *http.Request, j *recordv1.Job, path string, format image.Format) (string, error) {
			meant := strings.FieldsFunc(r.FormValue("meant"), func(c rune) bool { return c == ',' || c == ' ' || c == '\n' || c == '\r' })
			s, report, err := d.client.Submit(r.Context(), client.NewSubmission{Job: j.Number, Path: path, Format: format,
				Note: r.FormValue("note"), Meant: meant, MeantGiven: len(meant) > 0})
			if err != nil {
				return "", err
			}
			return fmt.Sprintf("You submitted %s. The verdict is %s.", client.Name(s), report.Verdict), nil
		},
		lead: func(j *recordv1.Job) string { return "/sheet/" + client.Name(j.Submissions[len(j.Submissions)-1]) }}
}

func (d *Desk) submitForm(w http.ResponseWriter, r *http.Request) error {
	return d.uploadForm(w, r, d.submission())
}
func (d *Desk) submit(w http.ResponseWriter, r *http.Request) error {
	return d.uploaded(w, r, d.submission())
}

func (d *Desk) back() upload {
	return upload{page: "readback", title: "Add a read-back to job %d", what: "add a read-back to job %d, %s", optional: true,
		do: func(r *http.Request, j *recordv1.Job, path string, format image.Format) (string, error) {
			why := strings.TrimSpace(r.FormValue("not-possible"))
			switch {
			case path == "" && why == "":
				return "", &client.Error{Kind: client.Usage, Text: "choose the file that was read back, or say why this controller cannot be read back"}
			case path != "" && why != "":
				return "", &client.Error{Kind: client.Usage, Text: "a file was chosen, and a reason why there can be none; leave one of them out"}
			case path == "":
				_, err := d.client.NotPossible(r.Context(), j.Number, why)
				return "Entered: written, not read back.", err
			}
			f, err := d.client.Readback(r.Context(), j.Number, path, format)
			if err != nil {
				return "", err
			}
			if f.Readback.Matches {
				return "The read-back matches what was written.", nil
			}
			return "The read-back differs from what was written: " + f.Why + ". Do not drive the car before this is explained.", nil
		}}
}

func (d *Desk) readbackForm(w http.ResponseWriter, r *http.Request) error {
	return d.uploadForm(w, r, d.back())
}
func (d *Desk) readback(w http.ResponseWriter, r *http.Request) error {
	return d.uploaded(w, r, d.back())
}
