package desk

import (
	"fmt"
	"net/http"
	"strings"

	"witnessmark/client"
	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/store/record"
)

// corridorDraft is a corridor in words, before its signature.
type corridorDraft struct {
	ID    string
	Job   *recordv1.Job
	Draft *client.CorridorDraft
	Rows  []spoken
	Means string
}

// spoken is a label and what is said beside it.
type spoken struct {
	Label string
	Lines []string
}

// draftCorridor draws a corridor up and shows what would be signed. Nothing is signed yet.
func (d *Desk) draftCorridor(w http.ResponseWriter, r *http.Request) error {
	j, err := d.jobAt(r)
	if err != nil {
		return err
	}
	said, err := manySaid(w, r)
	if err != nil {
		return &client.Error{Kind: client.Usage, Text: "what was typed did not arrive whole", Err: err}
	}
	plan, err := corridorPlan(j.GetNumber(), said)
	var made *client.CorridorDraft
	if err == nil {
		made, err = d.client.DraftCorridor(r.Context(), plan)
	}
	if err != nil {
		return d.showCorridor(w, r, said, err)
	}
	return d.showCorridorDraft(w, r, d.corridors.put(made), made, nil)
}

func (d *Desk) showCorridorDraft(w http.ResponseWriter, r *http.Request, id string, made *client.CorridorDraft, problem error) error {
	p := d.base(r, fmt.Sprintf("Sign corridor %d of job %d", made.Corridor.GetNumber(), made.Corridor.GetJob()))
	j, err := d.client.Job(made.Corridor.GetJob())
	if err != nil {
		return err
	}
	rows, err := d.client.CorridorRows(j, made.Corridor)
	if err != nil {
		return err
	}
	b := corridorDraft{ID: id, Job: j, Draft: made, Means: strings.ReplaceAll(client.CorridorMeans, "\n", " ")}
	for _, row := range rows {
		if n := len(b.Rows); row[0] == "" && n > 0 {
			b.Rows[n-1].Lines = append(b.Rows[n-1].Lines, row[1:]...)
		} else {
			b.Rows = append(b.Rows, spoken{sentence(row[0]), row[1:]})
		}
	}
	d.show(w, p.refused(d, problem), statusOf(r, problem), "corridor-draft", b)
	return nil
}

// signCorridor signs a corridor that was drawn up, once the person confirmed it.
func (d *Desk) signCorridor(w http.ResponseWriter, r *http.Request) error {
	id := r.PostFormValue("draft")
	made, ok := d.corridors.get(id)
	if !ok {
		return &client.Error{Kind: client.Refused, Text: "this corridor is not here any more; it was signed, or is older than a quarter of an hour", Try: "go back to the form and draw it up again"}
	}
	c := made.Corridor
	what := fmt.Sprintf("open %s: %d maps of %s, at most %s; %s", record.CorridorName(c), c.GetAsked().GetMaps(),
		strings.Join(c.GetAsked().GetAuthors(), ", "), c.GetAsked().GetMost(), strings.Join(client.Bounds(c.GetAsked()), "; "))
	if err := d.confirmed(r, what); err != nil {
		return d.showCorridorDraft(w, r, id, made, err)
	}
	opened, err := d.client.SignCorridor(r.Context(), made)
	if err != nil {
		return d.showCorridorDraft(w, r, id, made, err)
	}
	d.corridors.drop(id)
	d.away(w, r, fmt.Sprintf("/job/%d", c.GetJob()), note{Text: fmt.Sprintf("You opened corridor %d. What lies inside it is a release when it is submitted.", opened.GetNumber())})
	return nil
}
