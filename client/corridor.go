package client

import (
	"context"
	"math"
	"slices"
	"strconv"
	"strings"

	"google.golang.org/protobuf/proto"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/store/record"
	"witnessmark/tables/definition"
)

// CorridorPlan is what a lead wants to sign in advance.
type CorridorPlan struct {
	Job uint32
	// From is a release of the job (7.2), or its read as found, which nothing stands for too.
	From    string
	Authors []string
	Tables  []string // ID=UP:DOWN each, in the table's own unit
	Most    string   // notice or caution
	Maps    uint32
	Reason  string
}

// CorridorDraft is a corridor that is complete and not yet signed.
type CorridorDraft struct {
	// Corridor is what it would be, under the number that it would have.
	Corridor *recordv1.Corridor
	action   *recordv1.Action
}

// OpenCorridor signs a corridor and answers with it.
func (c *Client) OpenCorridor(ctx context.Context, p CorridorPlan) (*recordv1.Corridor, error) {
	d, err := c.DraftCorridor(ctx, p)
	if err != nil {
		return nil, err
	}
	return c.SignCorridor(ctx, d)
}

// DraftCorridor draws a corridor up as OpenCorridor does, and signs nothing. What the rules say no to, it says.
func (c *Client) DraftCorridor(ctx context.Context, p CorridorPlan) (*CorridorDraft, error) {
	job, rules, err := c.jobRules(ctx, p.Job)
	if err != nil {
		return nil, err
	}
	me, err := c.Me()
	if err != nil {
		return nil, err
	}
	asked := &recordv1.OpenCorridor{Job: p.Job, Authors: slices.Compact(slices.Sorted(slices.Values(p.Authors))), Most: p.Most, Maps: p.Maps,
		Definition: &recordv1.Revision{Name: rules.Layout.Name, Sha256: rules.Layout.SHA256},
		Limits:     &recordv1.Revision{Name: rules.Limits.Name, Sha256: rules.Limits.SHA256},
		Fuel:       job.GetFuel(), Numbers: job.GetNumbers(), Reason: strings.TrimSpace(p.Reason),
		ByAuthor: c.OnePerson() && slices.Contains(p.Authors, me.GetName())}
	if err := p.start(job, asked); err != nil {
		return nil, err
	}
	if asked.Tables, err = parseBounds(p.Tables, rules.Layout); err != nil {
		return nil, err
	}
	if asked.GetFrom() != 0 { // the start is what it was released as, or nobody signs from it
		if _, err := c.Review(ctx, p.Job, asked.GetFrom()); err != nil {
			return nil, err
		}
	}
	d := &CorridorDraft{action: &recordv1.Action{Body: &recordv1.Action_Corridor{Corridor: asked}}}
	if err := c.complete(d.action); err != nil {
		return nil, err
	}
	if _, err := c.claims.Fill(source{c: c, ctx: ctx}, d.action, nil); err != nil {
		return nil, refusal(err)
	}
	d.Corridor = &recordv1.Corridor{Job: p.Job, Number: uint32(len(job.GetCorridors()) + 1), Asked: proto.CloneOf(asked)}
	return d, c.allowed(d.action)
}

// SignCorridor signs a draft. It is refused where what submissions are judged by is not what it was when it was drawn up.
func (c *Client) SignCorridor(ctx context.Context, d *CorridorDraft) (*recordv1.Corridor, error) {
	got, err := c.act(ctx, &deed{action: d.action})
	if err != nil {
		return nil, err
	}
	job, err := c.Job(d.Corridor.GetJob())
	if err != nil {
		return nil, err
	}
	for _, one := range job.GetCorridors() {
		if uint64(one.GetOpened().GetEntry()) == got.index {
			return one, nil
		}
	}
	return nil, refused("job %d has no corridor of entry %d", job.GetNumber(), got.index)
}

// CloseCorridor ends a job's open corridor. With keep, the name of one of its releases, that one stays a release, and the
// others without a sign-off of their own are none any more.
func (c *Client) CloseCorridor(ctx context.Context, job uint32, keep, because string) (*recordv1.Corridor, error) {
	if err := c.Sync(ctx); err != nil {
		return nil, err
	}
	j, err := c.Job(job)
	if err != nil {
		return nil, err
	}
	open := record.OpenIn(j)
	if open == nil {
		return nil, usage("", "job %d has no open corridor", job)
	}
	a := &recordv1.CloseCorridor{Job: job, Corridor: open.GetNumber(), Because: strings.TrimSpace(because)}
	if keep != "" {
		if a.Keep, err = ofTheJob(job, keep); err != nil {
			return nil, err
		}
	}
	j, err = c.actOn(ctx, job, &deed{action: &recordv1.Action{Body: &recordv1.Action_CorridorClose{CorridorClose: a}}})
	return record.CorridorOf(j, a.Corridor), err
}

// CorridorStart is the name of what a corridor starts from; of none, the job's read as found.
func CorridorStart(j *recordv1.Job, asked *recordv1.OpenCorridor) record.Name {
	return startedFrom(j, &recordv1.Submission{From: asked.GetFrom()})
}

// start fills in where a corridor starts.
func (p CorridorPlan) start(job *recordv1.Job, asked *recordv1.OpenCorridor) error {
	found, err := asFound(job)
	if err != nil {
		return err
	}
	asked.FromSha256 = found.GetImage().GetSha256()
	if from := CorridorStart(job, nil); p.From == "" || p.From == from.String() || p.From == (record.Name{Job: p.Job}).String() {
		return nil
	}
	if asked.From, err = ofTheJob(p.Job, p.From); err != nil {
		return usage("", "a corridor starts from a release of its job, or from its read as found (%s): %v", CorridorStart(job, nil), err)
	}
	sub, err := nth(job, job.GetSubmissions(), asked.From, "submission")
	asked.FromSha256 = sub.GetImage().GetSha256()
	return err
}

// ofTheJob is the number of a submission in its job.
func ofTheJob(job uint32, name string) (uint32, error) {
	in, n, err := ParseSubmission(name)
	if err == nil && in != job {
		err = usage("", "%s is not of job %d", name, job)
	}
	return n, err
}

// parseBounds reads which tables may change and how far.
func parseBounds(list []string, lay *definition.Layout) (out []*recordv1.CorridorTable, err error) {
	for _, one := range list {
		id, bounds, _ := strings.Cut(one, "=")
		up, down, _ := strings.Cut(bounds, ":")
		t := &recordv1.CorridorTable{Table: strings.TrimSpace(id), Up: strings.TrimSpace(up), Down: strings.TrimSpace(down)}
		for _, text := range []string{t.Up, t.Down} {
			if v, err := strconv.ParseFloat(text, 64); err != nil || !(v >= 0) || math.IsInf(v, 0) {
				return nil, usage("", "table %.80q: allowed is ID=UP:DOWN in the table's own unit, each at least 0, such as ignition.base=2:4", one)
			}
		}
		if lay.ByID[t.Table] == nil {
			return nil, usage("", "table %.80q: %s has no such table; it has %s", one, lay.Name, lay.TableIDs())
		}
		if slices.ContainsFunc(out, func(o *recordv1.CorridorTable) bool { return o.Table == t.Table }) {
			return nil, usage("", "table %s is given twice", t.Table)
		}
		out = append(out, t)
	}
	return out, nil
}
