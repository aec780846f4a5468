package main

import (
	"context"
	"encoding/json"
	"fmt"

	"witnessmark/client"
	"witnessmark/client/outcome"
	recordv1 "witnessmark/proto/witnessmark/record/v1"
)

// mapColumns set a job's runs beside the maps that were in the car, the heading first.
func mapColumns(ctx context.Context, c *client.Client, j *recordv1.Job) [][]string {
	runs, start := mapRuns(ctx, c, j)
	return outcome.Columns(runs, start, outcome.Metric)
}

// mapRuns tells of each run at least which map it is of, and why nothing more where that is not to be had.
func mapRuns(ctx context.Context, c *client.Client, j *recordv1.Job) (out []*outcome.MapRun, start string) {
	var runs []*client.RecordedRun
	lay, err := c.JobLayout(ctx, j)
	if err == nil {
		runs, err = c.Runs(ctx, j.GetNumber(), "")
	}
	if err == nil {
		return outcome.MapRuns(j, runs, lay)
	}
	for _, r := range j.GetRuns() {
		out = append(out, &outcome.MapRun{Entry: r, Map: outcome.MapOf(j, r), Why: "not told: " + client.OneLine(err.Error())})
	}
	return out, outcome.StartOf(j)
}

// mapRunAsJSON is a run beside the map that was in the car, and what its peaks are above those at the start. Torque in
// N.m, power in kW, engine speed in 1/min; null where there is none.
type mapRunAsJSON struct {
	Map    string      `json:"map"`
	Run    uint32      `json:"run"`
	When   string      `json:"when"`
	Torque *peakAsJSON `json:"peak_torque"`
	Power  *peakAsJSON `json:"peak_power"`
	Gain   *gainAsJSON `json:"gain"`
	Why    string      `json:"why"`
}

type peakAsJSON struct {
	Value float64 `json:"value"`
	Speed float64 `json:"speed"`
}

type gainAsJSON struct {
	Torque json.RawMessage `json:"peak_torque"`
	Power  json.RawMessage `json:"peak_power"`
}

// printRuns prints the runs as they were entered, and beside each other with the maps that they are of.
func (a *app) printRuns(ctx context.Context, c *client.Client, j *recordv1.Job) error {
	entered, err := messagesJSON(j.Runs)
	if err != nil {
		return err
	}
	runs, start := mapRuns(ctx, c, j)
	maps := []mapRunAsJSON{}
	for _, m := range runs {
		one := mapRunAsJSON{Map: m.Map, Run: m.Entry.GetNumber(), When: m.Entry.GetWhen(), Why: m.Why}
		if m.Curve != nil {
			one.Torque = &peakAsJSON{m.Curve.PeakTorque.Torque, m.Curve.PeakTorque.Speed}
			one.Power = &peakAsJSON{m.Curve.PeakPower.Power, m.Curve.PeakPower.Speed}
		}
		if m.Gain != nil {
			torque, err := messageJSON(m.Gain.GetPeakTorque())
			if err != nil {
				return err
			}
			power, err := messageJSON(m.Gain.GetPeakPower())
			if err != nil {
				return err
			}
			one.Gain = &gainAsJSON{torque, power}
		}
		maps = append(maps, one)
	}
	return a.printJSON(map[string]any{"runs": entered, "maps": maps, "start": start}, nil)
}

// runRows are a job's runs on its card: of which map, its peaks and the gain to the start, and what it showed.
func runRows(ctx context.Context, c *client.Client, j *recordv1.Job) (rows [][]string) {
	if len(j.GetRuns()) == 0 {
		return nil
	}
	runs, start := mapRuns(ctx, c, j)
	for i, r := range j.GetRuns() {
		m, text := runs[i], r.GetWhen()
		if m.Map != "" {
			text += ", of " + m.Map
		}
		if torque, power := m.Peaks(outcome.Metric); torque != "" {
			text += fmt.Sprintf(": %s, %s", power, torque)
		}
		if gain := m.Above(outcome.Metric); gain != "" {
			text += fmt.Sprintf("; %s to %s", gain, start)
		}
		if m.Why != "" {
			text += "; " + client.OneLine(m.Why)
		}
		rows = append(rows, []string{fmt.Sprintf("run %d", r.GetNumber()), fmt.Sprintf("%s; %s; %s", text, eventText(r.GetAdded()), showed(ctx, c, j, r))})
	}
	return rows
}
