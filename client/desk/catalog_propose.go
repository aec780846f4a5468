package desk

import (
	"net/http"
	"strings"

	"witnessmark/client"
	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/store/record"
	"witnessmark/tables/definition"
	"witnessmark/tables/image"
	"witnessmark/tables/proposed"
)

// propose shows limits to start from, made for a definition, in the page in which limits are looked at and added.
func (d *Desk) propose(w http.ResponseWriter, r *http.Request) error {
	q := r.URL.Query()
	name := q.Get("definition")
	lay, err := d.client.JobLayout(r.Context(), &recordv1.Job{Definition: &recordv1.Revision{Name: name}})
	if err != nil {
		return err
	}
	im, err := d.found(r, lay, strings.TrimSpace(q.Get("job")))
	if err != nil {
		return err
	}
	p, err := proposed.Limits(lay, im, lines(q.Get("fuel")))
	if err != nil {
		return &client.Error{Kind: client.Refused, Err: err}
	}
	a := &adding{catalogKind: catalogKind{client.Limits, "Limits"}, File: p.Limits.GetName() + ".yaml", Text: string(p.File), SaidOf: "What no rule looks at", Said: p.Unkept, Definition: name,
		Ask: []field{{Kind: "line", Name: "fuel", Label: "Fuel that they are for", Value: q.Get("fuel")},
			{Kind: "line", Name: "job", Label: "Job whose read as found shows how smooth tables are", Value: q.Get("job"), Hint: "May be left out."}}}
	for _, s := range p.Silent {
		a.Said = append(a.Said, sentence(s.String()))
	}
	return d.adding(w, r, a, nil)
}

// found is a job's read as found, of a definition; nil for no job.
func (d *Desk) found(r *http.Request, lay *definition.Layout, job string) (*image.Image, error) {
	if job == "" {
		return nil, nil
	}
	n, err := client.ParseJob(job)
	if err != nil {
		return nil, err
	}
	j, err := d.client.Job(n)
	if err != nil {
		return nil, err
	}
	if j.GetDefinition().GetName() != lay.Name {
		return nil, &client.Error{Kind: client.Usage, Text: "job " + job + " is of definition " + j.GetDefinition().GetName() + "; allowed is one of " + lay.Name}
	}
	got, err := d.client.WorkingCopy(r.Context(), record.Name{Job: n}, "")
	if err != nil {
		return nil, err
	}
	return lay.ReadImage(got.FileName, got.File, got.Format)
}
