package desk

import (
	"context"
	"fmt"
	"net/http"
	"strings"

	"witnessmark/client"
	"witnessmark/client/outcome"
	"witnessmark/client/sheet"
	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/tables/run"
)

// runsBody is the runs of a job.
type runsBody struct {
	Job     *recordv1.Job
	How     how
	Runs    []runRow
	Plot    runPlot
	Outcome *outcome.Outcome // nil where there is no run yet
	Why     string           // why the runs that there are cannot be shown
	Not     string           // why this person adds none
	Held    []heldRun        // what each run showed against the map
}

// runRow is one run in words.
type runRow struct {
	*outcome.Measured
	Entry         *recordv1.Run
	Map           string // that was in the car; empty where nobody knows
	Torque, Power string // the peaks
}

// how is what a reader asked results to be shown in.
type how struct {
	Units      outcome.Units
	Correction run.Standard
	Anyway     bool
}

// howOf reads what the address asks for: metric and not corrected, unless it says otherwise.
func howOf(r *http.Request) (h how, err error) {
	q := r.URL.Query()
	h = how{Units: outcome.Metric, Correction: run.None, Anyway: q.Get("anyway") != ""}
	if s := q.Get("units"); s != "" {
		if h.Units, err = outcome.ParseUnits(s); err != nil {
			return h, &client.Error{Kind: client.Usage, Text: err.Error()}
		}
	}
	if s := q.Get("correction"); s != "" {
		if h.Correction, err = run.ParseStandard(s); err != nil {
			return h, &client.Error{Kind: client.Usage, Text: err.Error()}
		}
	}
	return h, nil
}

// outcomeOf works a job's outcome out of what the client verified; nil where it has no run.
func (d *Desk) outcomeOf(ctx context.Context, j *recordv1.Job, h how) (*outcome.Outcome, error) {
	if len(j.Runs) == 0 {
		return nil, nil
	}
	in := outcome.Input{Job: j, Units: h.Units, Correction: h.Correction, Anyway: h.Anyway}
	var err error
	if in.Runs, err = d.client.Runs(ctx, j.Number, ""); err != nil {
		return nil, err
	}
	if in.Layout, err = d.client.JobLayout(ctx, j); err != nil {
		return nil, err
	}
	if sub := outcome.Subject(j); sub != 0 {
		if in.Review, err = d.client.Review(ctx, j.GetNumber(), sub); err != nil {
			return nil, err
		}
	}
	return outcome.Make(in)
}

func (d *Desk) runs(w http.ResponseWriter, r *http.Request) error {
	h, err := howOf(r)
	if err != nil {
		return err
	}
	p := d.base(r, "")
	j, err := d.jobAt(r)
	if err != nil {
		return err
	}
	p.Title = fmt.Sprintf("Runs of job %d, %s", j.GetNumber(), text(j.GetPlate()))
	b := runsBody{Job: j, How: h, Not: runDeed.why(p, j)}
	if b.Outcome, err = d.outcomeOf(r.Context(), j, h); err != nil {
		b.Why = d.plain(err)
	}
	if b.Outcome != nil {
		if b.Plot, err = plotOf(append(b.Outcome.Curves(), b.Outcome.Watched()...), "torque and power over engine speed, and what the engine did, for all runs"); err != nil {
			return err
		}
		b.Runs = rowsOf(j, b.Outcome)
	}
	showed := d.heldOf(r.Context(), j.GetRuns())
	for _, run := range j.GetRuns() {
		b.Held = append(b.Held, showed[run.GetAdded().GetEntry()])
	}
	d.show(w, p, http.StatusOK, "runs", b)
	return nil
}

// rowsOf sets each sweep of a run beside the run's entry in the ledger.
func rowsOf(j *recordv1.Job, o *outcome.Outcome) []runRow {
	var rows []runRow
	for _, m := range o.Runs {
		r := runRow{Measured: m}
		for _, e := range j.GetRuns() {
			if strings.HasPrefix(m.Name, client.RunName(e)) {
				r.Entry, r.Map = e, outcome.MapOf(j, e)
			}
		}
		r.Torque, r.Power = m.Peaks(o.Units)
		rows = append(rows, r)
	}
	return rows
}

// outcomeBody is what a job came to.
type outcomeBody struct {
	Job            *recordv1.Job
	How            how
	Outcome        *outcome.Outcome // nil where there is no run yet
	Runs           []runRow
	Curves, Panels runPlot
	Cautions       []string
}

func (d *Desk) outcome(w http.ResponseWriter, r *http.Request) error {
	h, err := howOf(r)
	if err != nil {
		return err
	}
	p := d.base(r, "")
	j, err := d.jobAt(r)
	if err != nil {
		return err
	}
	p.Title = fmt.Sprintf("Outcome of job %d, %s", j.GetNumber(), text(j.GetPlate()))
	b := outcomeBody{Job: j, How: h, Cautions: outcome.Cautions}
	if b.Outcome, err = d.outcomeOf(r.Context(), j, h); err != nil {
		return err
	}
	if b.Outcome != nil {
		b.Runs = rowsOf(j, b.Outcome)
		if b.Curves, err = plotOf(b.Outcome.Curves(), "torque and power over engine speed, before and after"); err != nil {
			return err
		}
		if b.Panels, err = plotOf(b.Outcome.Watched(), "what the engine did over engine speed, before and after"); err != nil {
			return err
		}
	}
	d.show(w, p, http.StatusOK, "outcome", b)
	return nil
}

// visitedBody is where the before-runs were in the changed tables.
type visitedBody struct {
	*sheet.Visited
	Rows  []sheet.VisitRow
	More  int
	Ahead []string // where the submission's boost target leads
	Why   string   // why it cannot be told
}

// visited is nil where the job has no before-run.
func (d *Desk) visited(ctx context.Context, rev *client.Review) *visitedBody {
	runs, err := d.client.Runs(ctx, rev.Job.GetNumber(), "before")
	if err != nil {
		return &visitedBody{Visited: new(sheet.Visited), Why: d.plain(err)}
	}
	_, candidate := rev.Images()
	v := sheet.Visits(rev.Report, rev.Layout(), candidate, client.Recordings(runs))
	if v == nil {
		return nil
	}
	b := &visitedBody{Visited: v}
	b.Rows, b.More = v.Rows()
	if b.Ahead, err = ahead(rev, runs); err != nil {
		b.Why = d.plain(err)
	}
	return b
}
