package main

import (
	"context"
	"fmt"
	"strings"

	"witnessmark/client"
	"witnessmark/client/sheet"
	"witnessmark/store/claims"
	"witnessmark/store/record"
)

// known says which image of the job that nobody submits again a file holds; empty for none. What is saved next started
// from that.
func (f *saveFollower) known(r *client.Review) string {
	sha := r.Submission.GetImage().GetSha256()
	switch {
	case f.last != nil && sha == f.last.Submission.GetImage().GetSha256():
		f.ask.From = f.last.Submission.GetNumber()
		return client.Name(f.last.Submission)
	case sha == record.AsFound(r.Job).GetImage().GetSha256():
		f.ask.From = 0
		return "the read as found"
	case sha == f.passed:
		return "what was passed over"
	}
	return ""
}

// show says what would be submitted, before anything is sent.
func (f *saveFollower) show(ctx context.Context, r *client.Review) error {
	fmt.Fprintln(f.out)
	if err := sheet.WriteTitle(f.out, f.ask.Path+", verdict "+r.Judgement.GetVerdict()); err != nil {
		return err
	}
	if err := writeFindings(f.out, r.Report); err != nil {
		return err
	}
	start, err := f.client.StartOf(ctx, record.CorridorOf(r.Job, r.Submission.GetCorridor().GetCorridor()))
	if err != nil {
		return err
	}
	if err := f.brief(nil, r, ""); err != nil {
		return err
	}
	if start != nil {
		err = f.brief(start, r, "where the corridor starts")
	}
	if last := f.last; err == nil && last != nil && (start == nil || start.Submission.GetNumber() != last.Submission.GetNumber()) {
		err = f.brief(last, r, "submitted last")
	}
	for _, line := range foreseenLines(r.Foreseen()) {
		fmt.Fprintln(f.out, line)
	}
	return err
}

// foreseenLines say how what would be submitted lies to the job's corridor.
func foreseenLines(c *claims.Corridor) []string {
	switch {
	case c == nil:
		return nil
	case len(c.Outside) == 0:
		asked := c.Of.GetAsked()
		return []string{fmt.Sprintf("inside corridor %d, which released %d of %d; at most %s, by %s", c.Of.GetNumber(), c.Of.GetReleased(),
			asked.GetMaps(), asked.GetMost(), client.OneLine(strings.Join(asked.GetAuthors(), ", ")))}
	}
	lines := []string{fmt.Sprintf("outside corridor %d, so that it will wait to be signed:", c.Of.GetNumber())}
	for _, text := range c.Outside {
		lines = append(lines, "  "+client.OneLine(text))
	}
	return lines
}

func (f *saveFollower) brief(was, is *client.Review, which string) error {
	d, err := compared(was, is, which)
	if err == nil {
		err = d.brief(f.out)
	}
	return err
}
