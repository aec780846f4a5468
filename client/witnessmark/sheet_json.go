package main

import (
	"context"
	"encoding/json"
	"errors"
	"slices"

	"witnessmark/client"
	"witnessmark/client/outcome"
	"witnessmark/client/sheet"
	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/store/record"
)

// sheetAsJSON is a submission's sheet. Reports and findings are messages as everywhere.
type sheetAsJSON struct {
	Name    string                `json:"name"`
	Author  string                `json:"author"`
	Time    string                `json:"time"` // the author's claim
	State   string                `json:"state"`
	Note    string                `json:"note"`
	From    string                `json:"from"`
	ByNewer bool                  `json:"by_newer"`    // compared by other revisions or facts than when it was submitted
	Yes     *yesAsJSON            `json:"yes"`         // null where nobody said yes
	InOpen  *inOpenAsJSON         `json:"in_corridor"` // null where none was open when it came
	Alarms  []client.Alarm        `json:"alarms"`
	Returns []returnAsJSON        `json:"returns"`
	Report  *calibrationv1.Report `json:"report"`
	Since   *sinceAsJSON          `json:"since,omitempty"`
}

// yesAsJSON is who said yes, to this submission or in advance: then corridor is its name.
type yesAsJSON struct {
	Person   string `json:"person"`
	Time     string `json:"time"`
	Entry    uint32 `json:"entry"`
	Corridor string `json:"corridor"`
	ByAuthor bool   `json:"by_author"`
	Reason   string `json:"reason"`
}

// inOpenAsJSON is a submission held against the corridor that was open when it came. Before is the corridor's release before
// it, empty where this is the first; from_start and from_before are the tables that differ from those two.
type inOpenAsJSON struct {
	Corridor   string            `json:"corridor"`
	Says       string            `json:"says"`
	Outside    []string          `json:"outside"`
	Start      string            `json:"start"`
	Before     string            `json:"before"`
	FromStart  []outcome.Changed `json:"from_start"`
	FromBefore []outcome.Changed `json:"from_before"`
}

// returnAsJSON is the reason of an earlier submission's return, and what became of the findings that it names.
type returnAsJSON struct {
	Name     string          `json:"name"`
	Person   string          `json:"person"`
	Reason   string          `json:"reason"`
	Open     bool            `json:"open"`
	Findings []findingAsJSON `json:"findings"`
}

type findingAsJSON struct {
	Key  string `json:"key"`
	Gone bool   `json:"gone"`
}

// sinceAsJSON is what became of an earlier submission's findings; Changed has that one's image as its base.
type sinceAsJSON struct {
	Name    string                `json:"name"`
	Verdict string                `json:"verdict"`
	New     []stepAsJSON          `json:"new"`
	Worse   []stepAsJSON          `json:"worse"`
	Better  []stepAsJSON          `json:"better"`
	Gone    []stepAsJSON          `json:"gone"`
	Same    []stepAsJSON          `json:"same"`
	Changed *calibrationv1.Report `json:"changed"`
}

// stepAsJSON is one finding; was is null of a new one, is of one that is gone.
type stepAsJSON struct {
	Key string          `json:"key"`
	Was json.RawMessage `json:"was"`
	Is  json.RawMessage `json:"is"`
}

// readAsJSON is a read's sheet; changed is null where nothing was changed or compared.
type readAsJSON struct {
	Name   string                `json:"name"`
	Person string                `json:"person"`
	Time   string                `json:"time"`
	Read   json.RawMessage       `json:"read"`
	Alarms []client.Alarm        `json:"alarms"`
	Report *calibrationv1.Report `json:"report"`
	Since  *calibrationv1.Report `json:"changed_since"`
}

// readbackAsJSON is a read-back's sheet; the report's base is what was written, and it is null where
// that was found.
type readbackAsJSON struct {
	Name     string                `json:"name"`
	Person   string                `json:"person"`
	Time     string                `json:"time"`
	Readback json.RawMessage       `json:"read_back"`
	Alarms   []client.Alarm        `json:"alarms"`
	Report   *calibrationv1.Report `json:"report"`
}

func submissionJSON(ctx context.Context, c *client.Client, r *client.Review) (sheetAsJSON, error) {
	s := r.Submission
	name := record.Name{Job: s.GetJob(), Part: record.ASubmission, N: s.GetNumber()}
	out := sheetAsJSON{Name: name.String(), Author: s.GetSubmitted().GetPerson(), Time: s.GetSubmitted().GetSignedAt(), State: s.GetState(),
		Note: sheet.Sealed(s.GetNote()), From: r.StartedFrom().String(), ByNewer: r.ByNewer, Returns: []returnAsJSON{}}
	for _, asked := range r.Asked() {
		one := returnAsJSON{Name: client.Name(asked.Returned), Person: asked.Returned.GetReturned().GetPerson(),
			Reason: asked.Returned.GetReturn().GetReason(), Open: asked.Open(), Findings: []findingAsJSON{}}
		for _, f := range asked.Findings {
			one.Findings = append(one.Findings, findingAsJSON(f))
		}
		out.Returns = append(out.Returns, one)
	}
	if y := client.YesTo(r.Job, s); y != nil {
		out.Yes = &yesAsJSON{Person: y.By.GetPerson(), Time: y.By.GetSignedAt(), Entry: y.By.GetEntry(), ByAuthor: y.ByAuthor, Reason: y.Reason}
		if y.Corridor != nil {
			out.Yes.Corridor = record.CorridorName(y.Corridor)
		}
	}
	var err error
	if out.InOpen, err = inOpenJSON(ctx, c, r); err != nil {
		return out, err
	}
	out.Report = r.Report
	out.Alarms, err = alarmsOf(c, name)
	return out, err
}

func inOpenJSON(ctx context.Context, c *client.Client, r *client.Review) (*inOpenAsJSON, error) {
	in := r.Corridor
	if in == nil {
		return nil, nil
	}
	out := &inOpenAsJSON{Corridor: record.CorridorName(in.Of), Says: in.Says(), Outside: append([]string{}, in.Outside...),
		Start: client.CorridorStart(r.Job, in.Of.GetAsked()).String(), FromBefore: []outcome.Changed{}}
	start, err := in.FromStart()
	if err != nil {
		return nil, err
	}
	out.FromStart = outcome.ChangedIn(start, r.Layout())
	before := in.Before()
	if before == nil {
		return out, nil
	}
	out.Before = client.Name(before)
	since, err := c.FromBefore(ctx, in)
	out.FromBefore = outcome.ChangedIn(since, r.Layout())
	return out, err
}

// alarmsOf are the alarms about one thing of a job that count now.
func alarmsOf(c *client.Client, name record.Name) ([]client.Alarm, error) {
	alarms, err := c.AlarmsNow(name.Job)
	if alarms = slices.DeleteFunc(alarms, func(al client.Alarm) bool { return al.About != name.String() }); alarms == nil {
		alarms = []client.Alarm{}
	}
	return alarms, err
}

func sinceOf(s *client.Since) (*sinceAsJSON, error) {
	var err error
	out := &sinceAsJSON{Name: client.Name(s.Was.Submission), Verdict: s.Was.Report.GetVerdict(), Changed: s.Changed}
	for _, part := range []struct {
		to   *[]stepAsJSON
		from []client.FindingSince
	}{{&out.New, s.New}, {&out.Worse, s.Worse}, {&out.Better, s.Better}, {&out.Gone, s.Gone}, {&out.Same, s.Same}} {
		*part.to = []stepAsJSON{}
		for _, f := range part.from {
			was, wasErr := messageJSON(f.Was)
			is, isErr := messageJSON(f.Is)
			err = errors.Join(err, wasErr, isErr)
			*part.to = append(*part.to, stepAsJSON{f.Key, was, is})
		}
	}
	return out, err
}

func readJSON(c *client.Client, r *client.ReadReport, name record.Name) (out readAsJSON, err error) {
	out = readAsJSON{Name: name.String(), Person: r.Read.GetAdded().GetPerson(), Time: r.Read.GetAdded().GetSignedAt()}
	if out.Read, err = messageJSON(r.Read); err != nil {
		return out, err
	}
	if out.Report = r.Check.Report; r.Changed != nil {
		out.Since = r.Changed.Report
	}
	out.Alarms, err = alarmsOf(c, name)
	return out, err
}

func readbackJSON(c *client.Client, r *client.ReadbackReport, name record.Name) (out readbackAsJSON, err error) {
	out = readbackAsJSON{Name: name.String(), Person: r.Readback.GetAdded().GetPerson(), Time: r.Readback.GetAdded().GetSignedAt()}
	if out.Readback, err = messageJSON(r.Readback); err != nil {
		return out, err
	}
	if r.Report != nil {
		out.Report = r.Report.Report
	}
	out.Alarms, err = alarmsOf(c, name)
	return out, err
}
