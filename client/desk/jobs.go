package desk

import (
	"fmt"
	"net/http"
	"net/url"
	"strings"

	"witnessmark/client"
	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/store/record"
	"witnessmark/tables/severity"
)

// jobsBody is a page of the jobs that were found.
type jobsBody struct {
	Jobs    []jobLine
	Found   int
	Fields  []field // what can be asked; empty where nothing can
	Problem string  // why what was asked finds nothing
	// The addresses of the pages before and after this one; empty for none.
	Before, After string
}

type jobLine struct {
	Job            *recordv1.Job
	Verdict, State string
	Next           string // what it waits for
}

// jobs lists the jobs that are asked for, in pages.
func (d *Desk) jobs(w http.ResponseWriter, r *http.Request) error {
	p := d.base(r, "Jobs")
	q := r.URL.Query()
	f := client.JobFilter{Text: strings.TrimSpace(q.Get("text")), Car: strings.TrimSpace(q.Get("car")), Query: record.Query{
		State: q.Get("job"), Submission: q.Get("state"), Verdict: q.Get("verdict"), Person: q.Get("person"), Definition: q.Get("definition"),
		Since: q.Get("since"), Until: q.Get("until"), Sort: q.Get("sort")}}
	f.Skip = numberIn(r, "skip")
	b, err := d.find(f)
	if b.Problem = ""; client.KindOf(err) == client.Usage || client.KindOf(err) == client.Refused {
		b.Problem, err = d.plain(err), nil
	}
	if err != nil {
		return err
	}
	if b.Fields, err = d.asked(q); err != nil {
		return err
	}
	if next := f.Skip + len(b.Jobs); next < b.Found {
		b.After = turned(r, "skip", next)
	}
	if f.Skip > 0 {
		b.Before = turned(r, "skip", max(0, f.Skip-client.UsualPage))
	}
	d.show(w, p, http.StatusOK, "jobs", b)
	return nil
}

func (d *Desk) find(f client.JobFilter) (b jobsBody, err error) {
	found, err := d.client.FindJobs(f)
	if err != nil {
		return b, err
	}
	b.Found = found.Found
	for _, j := range found.Jobs {
		b.Jobs = append(b.Jobs, lineOf(j))
	}
	return b, nil
}

// asked are the fields that jobs are looked for by, as they were filled in.
func (d *Desk) asked(q url.Values) ([]field, error) {
	people, err := d.client.People()
	if err != nil {
		return nil, err
	}
	names := [][2]string{{"", "anybody"}}
	for _, p := range people {
		names = append(names, [2]string{p.GetName(), p.GetName()})
	}
	words := func(first string, words ...string) [][2]string {
		out := [][2]string{{"", first}}
		for _, w := range words {
			out = append(out, [2]string{w, w})
		}
		return out
	}
	fields := []field{
		{Kind: "line", Name: "text", Label: "Words"}, {Kind: "line", Name: "car", Label: "Plate or frame"},
		{Kind: "pick", Name: "job", Label: "Job", Options: words("any", "open", "closed")},
		{Kind: "pick", Name: "state", Label: "Submission", Options: words("any", record.Waiting, record.Returned, record.Withdrawn, record.Replaced, record.Released, record.InCar)},
		{Kind: "pick", Name: "verdict", Label: "Verdict", Options: words("any", severity.Words()...)},
		{Kind: "pick", Name: "person", Label: "Person", Options: names},
		{Kind: "pick", Name: "definition", Label: "Definition", Options: append([][2]string{{"", "any"}}, d.names(client.Definitions)...)},
		{Kind: "day", Name: "since", Label: "Opened from"}, {Kind: "day", Name: "until", Label: "Opened to"},
		{Kind: "pick", Name: "sort", Label: "Sorted", Options: [][2]string{{"", "newest first"}, {record.Oldest, "oldest first"}, {record.Worst, "worst first"}}},
	}
	for i := range fields {
		fields[i].Value = q.Get(fields[i].Name)
	}
	return fields, nil
}

func lineOf(j *recordv1.Job) jobLine {
	l := jobLine{Job: j, State: "opened, not read yet", Next: client.Next(j)}
	if record.AsFound(j) != nil {
		l.State = "read"
	}
	if n := len(j.GetSubmissions()); n > 0 {
		newest := j.GetSubmissions()[n-1]
		l.State, l.Verdict = client.Name(newest)+" is "+newest.GetState(), record.Verdict(newest)
	}
	if j.GetState() == "closed" {
		l.State = "closed, " + j.GetOutcome() + "; " + l.State
	}
	return l
}

type searchBody struct {
	Text, Problem string
	Hits          []hit
	More          int // jobs that are left out
	Definitions   field
	Known         []knownTable // that the definition knows by the text
	MoreKnown     int
}

type hit struct {
	client.Hit
	Href string
}

// mostHits is how many texts a search shows.
const mostHits = 100

// search looks for words in everything that people said, and for tables by the names that a definition knows them by.
func (d *Desk) search(w http.ResponseWriter, r *http.Request) (err error) {
	q := r.URL.Query()
	b := searchBody{Text: strings.TrimSpace(q.Get("text")), Definitions: field{Kind: "pick", Name: "definition", Label: "Also names where tables came from, in", Value: q.Get("definition"),
		Options: append([][2]string{{"", "no definition"}}, d.names(client.Definitions)...)}}
	p := d.base(r, "Search")
	if b.Text != "" {
		if b.Hits, b.More, err = d.hits(b.Text, func(client.Hit) bool { return true }); err == nil && b.Definitions.Value != "" {
			b.Known, b.MoreKnown, err = d.known(r.Context(), b.Definitions.Value, b.Text)
		}
		if kind := client.KindOf(err); kind == client.Usage || kind == client.Refused {
			b.Problem, err = d.plain(err), nil
		}
		if err != nil {
			return err
		}
	}
	d.show(w, p, http.StatusOK, "search", b)
	return nil
}

// hrefOf is the page on which something of a job stands.
func hrefOf(n record.Name) string {
	switch n.Part {
	case record.ASubmission:
		return "/sheet/" + n.String()
	case record.ARead, record.AReadback:
		return reportAt(n)
	case record.ARollingRoad:
		return fmt.Sprintf("/job/%d/runs", n.Job)
	case record.ACorridor:
		return fmt.Sprintf("/job/%d#corridor%d", n.Job, n.N)
	}
	return fmt.Sprintf("/job/%d", n.Job)
}
