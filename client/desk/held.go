package desk

import (
	"context"
	"fmt"
	"slices"
	"strings"

	"witnessmark/client"
	"witnessmark/client/sheet"
	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/tables/runcheck"
)

// heldRun is a run beside what it showed when it was held against what was in the car.
type heldRun struct {
	Name    string
	With    string                   // what was in the car, of a sheet's two images; empty elsewhere
	Check   *calibrationv1.RunCheck  // nil where it was not held
	Verdict string                   // empty where no map could be held against it, and nothing was found
	Sides   []*calibrationv1.RunSide // nil where no map could be held against it
	Says    string
}

// heldOf is what runs showed, by their entries; after the first that the server does not give, none is asked for.
func (d *Desk) heldOf(ctx context.Context, runs []*recordv1.Run) map[uint32]heldRun {
	out := map[uint32]heldRun{}
	var away error
	for _, r := range runs {
		h := heldRun{Name: client.RunName(r), Says: "Not held against the map: what was in the car was not known."}
		err := away
		if err == nil {
			h.Check, err = d.client.RunCheck(ctx, r)
		}
		switch {
		case err != nil:
			h.Says = "What it showed against the map is not told: " + d.plain(err)
			if client.KindOf(err) == client.Away {
				away = err
			}
		case h.Check != nil:
			if slices.ContainsFunc(h.Check.GetSides(), func(s *calibrationv1.RunSide) bool { return s.GetSamples() > 0 }) {
				h.Sides = h.Check.GetSides()
			}
			if h.Sides != nil || len(h.Check.GetFindings()) > 0 {
				h.Verdict = h.Check.GetVerdict()
			}
			h.Says = sentence(strings.TrimPrefix(runcheck.Says(h.Check), h.Check.GetVerdict()+": "))
		}
		out[r.GetAdded().GetEntry()] = h
	}
	return out
}

// heldWith are the runs that were made with either image of a review in the car.
func (d *Desk) heldWith(ctx context.Context, rev *client.Review) (out []heldRun) {
	all := d.heldOf(ctx, rev.Job.GetRuns())
	for _, r := range rev.Job.GetRuns() {
		h := all[r.GetAdded().GetEntry()]
		switch h.Check.GetImage().GetSha256() {
		case "":
			continue
		case rev.Report.GetCandidate().GetSha256():
			h.With = client.Name(rev.Submission)
		case rev.Report.GetBase().GetSha256():
			h.With = "its base"
		default:
			continue
		}
		out = append(out, h)
	}
	return out
}

// sideRow is a channel beside the table or signal that it shows, in words.
func sideRow(s *calibrationv1.RunSide) []string {
	channel := sheet.Words(s.GetChannel())
	if s.GetSamples() == 0 {
		return []string{channel, "not held: the run lacks a channel that it needs", "", ""}
	}
	unit := ""
	if s.GetUnit() != "1" {
		unit = " " + s.GetUnit()
	}
	number := func(format string, v float64) string {
		return strings.Replace(fmt.Sprintf(format, v), "-", "−", 1) + unit
	}
	delay := "none is told"
	if by := s.GetDelay(); by > 0 {
		delay = fmt.Sprintf("%.2f s behind", by)
	} else if by < 0 {
		delay = fmt.Sprintf("%.2f s ahead", -by)
	}
	w := s.GetWorst()
	return []string{channel, fmt.Sprintf("%s on the mean, %.3g rms over %s", number("%+.3g", s.GetMean()), s.GetRms(), count(int(s.GetSamples()), "sample")), delay,
		fmt.Sprintf("commanded %s, logged %s, at %.2f s", number("%.4g", w.GetCommanded()), number("%.4g", w.GetLogged()), w.GetTime())}
}

// ahead is where each of a job's before-runs would be led by the boost target of a submission.
func ahead(rev *client.Review, runs []*client.RecordedRun) (out []string, err error) {
	for _, r := range runs {
		led, err := rev.Ahead(r)
		if err != nil {
			return nil, err
		}
		for _, text := range led.Ahead {
			out = append(out, client.RunName(r.Entry)+": "+text)
		}
	}
	return out, nil
}
