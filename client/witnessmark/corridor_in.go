package main

import (
	"context"
	"fmt"
	"strings"

	"witnessmark/client"
	"witnessmark/client/outcome"
	"witnessmark/client/sheet"
	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/store/record"
	"witnessmark/tables/definition"
)

// inCorridor says at once what the open corridor made of a submission, and how it differs from where that starts and from
// the one before it. It is entered already: what cannot be told is said beside it.
func (a *app) inCorridor(ctx context.Context, c *client.Client, s *recordv1.Submission) error {
	if s.GetCorridor() == nil {
		return nil
	}
	r, err := c.Review(ctx, s.GetJob(), s.GetNumber())
	var lines []string
	if err == nil {
		lines, err = distancesIn(ctx, c, r)
	}
	if err != nil {
		a.say(fmt.Sprintf("%s is entered; what the corridor makes of it cannot be told here: %v", client.Name(s), err))
		return nil
	}
	for _, line := range append([]string{r.Corridor.Says()}, lines...) {
		if _, err := fmt.Fprintln(a.out, line); err != nil {
			return err
		}
	}
	return nil
}

// corridorLines say what the corridor that was open made of a submission, where it lies outside, and of the one that stays
// the way there.
func corridorLines(r *client.Review) (lines []string) {
	in := r.Corridor
	if in == nil {
		return nil
	}
	lines = append(lines, in.Says())
	if y := client.YesTo(r.Job, r.Submission); y != nil && y.Corridor != nil {
		for _, table := range client.SomeTables(client.Bounds(y.Corridor.GetAsked()), mostLines) {
			lines = append(lines, "    "+table)
		}
		if y.Reason != "" && !y.ByAuthor {
			lines = append(lines, "    because: "+client.OneLine(y.Reason))
		}
	}
	if r.Submission.GetNotCovered() == "cells" {
		for _, place := range in.Outside[1:] { // the first is said already
			lines = append(lines, "    "+place)
		}
	}
	if in.Of.GetKept() == r.Submission.GetNumber() {
		lines = append(lines, "the way there, from "+client.CorridorStart(r.Job, in.Of.GetAsked()).String()+":")
		lines = append(lines, wayTo(r.Job, in.Of)...)
	}
	return lines
}

// wayTo are a corridor's releases up to the one that stays, and what their authors said.
func wayTo(j *recordv1.Job, c *recordv1.Corridor) (lines []string) {
	for _, s := range j.GetSubmissions()[:c.GetKept()] {
		if s.GetByCorridor() != c.GetNumber() {
			continue
		}
		line := fmt.Sprintf("    %s by %s, %s", client.Name(s), client.OneLine(s.GetSubmitted().GetPerson()), s.GetJudgement().GetVerdict())
		if s.GetState() == record.Returned {
			line += ", recalled"
		}
		if s.GetNote() != nil {
			line += ": " + sheet.Sealed(s.GetNote())
		}
		lines = append(lines, line)
	}
	return lines
}

// distancesIn are how a submission differs from where its corridor starts, and from the corridor's release before it, in a
// line each.
func distancesIn(ctx context.Context, c *client.Client, r *client.Review) (lines []string, err error) {
	in := r.Corridor
	if in == nil {
		return nil, nil
	}
	start, err := in.FromStart()
	if err != nil {
		return nil, err
	}
	lines = append(lines, differs(client.CorridorStart(r.Job, in.Of.GetAsked()).String()+", where it starts", start, r.Layout()))
	before, err := c.FromBefore(ctx, in)
	if err == nil && before != nil {
		lines = append(lines, differs(client.Name(in.Before())+", the one before", before, r.Layout()))
	}
	return lines, err
}

func differs(from string, r *calibrationv1.Report, lay *definition.Layout) string {
	var tables []string
	for _, t := range outcome.ChangedIn(r, lay) {
		tables = append(tables, client.OneLine(t.ID+" "+t.What))
	}
	if len(tables) == 0 {
		tables = []string{"no table"}
	}
	return fmt.Sprintf("differs from %s: %s", from, strings.Join(client.SomeTables(tables, mostLines), "; "))
}
