package client

import (
	"context"
	"fmt"
	"slices"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/store/claims"
	"witnessmark/store/record"
	"witnessmark/tables/compare"
	"witnessmark/tables/reckon"
	"witnessmark/tables/severity"
)

// InCorridor is a submission held, here and now, against the corridor that was open when it came.
type InCorridor struct {
	*claims.Corridor
	review *Review
}

// inCorridor holds a reviewed submission against the corridor that it names; nil where it names none. What it says of that
// must be so.
func (c *Client) inCorridor(ctx context.Context, r *Review) (*InCorridor, error) {
	in, err := c.claims.Corridor(source{c: c, ctx: ctx}, r.Job.GetNumber(), r.Submission.GetNumber())
	if reason := reasonOf(err); reason != "" && reason != claims.ReasonUpgrade {
		return nil, distrust("%s is not to its corridor as it says: %v", Name(r.Submission), err)
	}
	if err != nil || in == nil {
		return nil, refusal(err)
	}
	return &InCorridor{in, r}, nil
}

// Says is in a line what the corridor made of the submission when it came.
func (in *InCorridor) Says() string {
	sub, n := in.review.Submission, in.Of.GetNumber()
	if sub.GetNotCovered() == "" {
		text := fmt.Sprintf("released by corridor %d (%d of %d)", n, in.place(), in.Of.GetAsked().GetMaps())
		if !record.IsRelease(sub) {
			text += fmt.Sprintf("; it is %s now", sub.GetState())
		}
		return text
	}
	waits := "waits for a sign-off: "
	switch {
	case sub.GetState() != record.Waiting:
		waits = "was not released at once: "
	case record.Verdict(sub) == string(severity.Danger):
		waits = "waits, and nobody may sign it: "
	}
	text := waits + NotCovered(in.review.Job, sub)
	if sub.GetNotCovered() != "cells" {
		return text
	}
	text += ": " + in.Outside[0]
	if more := len(in.In.GetOutside()) + int(in.In.GetMore()) - 1; more > 0 {
		text += fmt.Sprintf("; and %d more", more)
	}
	return text
}

// NotCovered says why the corridor that was open when a submission came did not release it; empty where it did, or none was.
func NotCovered(j *recordv1.Job, sub *recordv1.Submission) string {
	n := sub.GetCorridor().GetCorridor()
	switch sub.GetNotCovered() {
	case "":
		return ""
	case "author":
		return fmt.Sprintf("corridor %d is not for maps of %s", n, OneLine(sub.GetSubmitted().GetPerson()))
	case "returned":
		like := record.ReturnedLike(j, sub)
		return fmt.Sprintf("it is the same file as %s, which %s returned", Name(like), OneLine(like.GetReturned().GetPerson()))
	case "verdict":
		return fmt.Sprintf("it is %s, and corridor %d covers at most %s", sub.GetJudgement().GetVerdict(), n, record.CorridorOf(j, n).GetAsked().GetMost())
	}
	return fmt.Sprintf("outside corridor %d", n)
}

// place is which of the corridor's releases the submission is, from 1.
func (in *InCorridor) place() (n int) {
	for _, sub := range in.review.Job.GetSubmissions()[:in.review.Submission.GetNumber()] {
		if sub.GetByCorridor() == in.Of.GetNumber() {
			n++
		}
	}
	return n
}

// Before is the corridor's release before this submission, recalled ones passed over; nil where this is the first.
func (in *InCorridor) Before() *recordv1.Submission {
	for _, sub := range slices.Backward(in.review.Job.GetSubmissions()[:in.review.Submission.GetNumber()-1]) {
		if sub.GetByCorridor() == in.Of.GetNumber() && sub.GetState() != record.Returned {
			return sub
		}
	}
	return nil
}

// FromStart compares the submission with where the corridor starts. It is for looking: nobody signs such a report.
func (in *InCorridor) FromStart() (*calibrationv1.Report, error) {
	made := in.review.made
	facts, err := reckon.Facts(in.review.Job.GetFuel(), in.review.Job.GetNumbers())
	if err != nil {
		return nil, err
	}
	return compare.Compare(compare.Input{Base: in.Start, Candidate: made.Candidate, Layout: made.Layout, Limits: made.Limits, Job: facts})
}

// FromBefore compares the submission with the corridor's release before it; nil where this is the first.
func (c *Client) FromBefore(ctx context.Context, in *InCorridor) (*calibrationv1.Report, error) {
	before := in.Before()
	if before == nil {
		return nil, nil
	}
	was, err := c.Review(ctx, before.GetJob(), before.GetNumber())
	if err != nil {
		return nil, err
	}
	return Between(was, in.review)
}
