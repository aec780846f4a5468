package outcome

import (
	"fmt"
	"slices"
	"strings"

	"witnessmark/client"
	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/store/record"
	"witnessmark/tables/definition"
	"witnessmark/tables/run"
)

// MapRun is a run beside the map that was in the car: its peaks, and what they are above those at the start.
type MapRun struct {
	Entry *recordv1.Run
	Map   string                 // 7.read1, 7.12; empty where nobody said
	Curve *run.Curve             // nil where none could be made
	Gain  *calibrationv1.RunGain // nil at the start itself, and where nothing can be compared
	Why   string                 // why there is no curve, or no gain

	pull *run.Pull
}

// MapRuns are a job's runs in the order in which they were added, by the widest sweep of each and not corrected for the
// weather. Start is the map that gains are over: where the job's newest corridor starts from, else the read as found.
func MapRuns(j *recordv1.Job, runs []*client.RecordedRun, lay *definition.Layout) (out []*MapRun, start string) {
	start = StartOf(j)
	var before []*run.Pull
	for i, r := range runs {
		m := &MapRun{Entry: r.Entry, Map: MapOf(j, r.Entry)}
		if err := m.measure(r, run.Options{Correction: run.None, Forced: client.ForcedInduction(lay)}); err != nil {
			m.Why = "no curve: " + err.Error()
		} else if m.pull.Order = i + 1; m.Map == start {
			before = append(before, m.pull)
		}
		out = append(out, m)
	}
	for _, m := range out {
		if m.pull == nil || m.Map == start || len(before) == 0 {
			continue
		}
		var err error
		if m.Gain, err = run.Gained(before, []*run.Pull{m.pull}, 0, 0); err != nil {
			m.Why = "not compared: " + err.Error()
		}
	}
	return out, start
}

func (m *MapRun) measure(r *client.RecordedRun, o run.Options) error {
	sweeps, err := run.FindSweeps(r.Run)
	if err != nil {
		return err
	}
	sweep, _, err := run.ChooseSweep(sweeps, 0)
	if err != nil {
		return err
	}
	if m.pull, err = run.MakePull(r.Run, sweep, o); err != nil {
		m.pull = nil
		return err
	}
	m.Curve = m.pull.Curve
	return nil
}

// StartOf is the name of the map that a job's newest corridor starts from; without one, of its read as found.
func StartOf(j *recordv1.Job) string {
	if list := j.GetCorridors(); len(list) > 0 {
		return client.CorridorStart(j, list[len(list)-1].GetAsked()).String()
	}
	return client.CorridorStart(j, nil).String()
}

// MapOf is the name of what was in the car during a run: what was said when it was added, else before the change the
// read as found. It is empty where nobody said.
func MapOf(j *recordv1.Job, r *recordv1.Run) string {
	if r.GetOf() == "" && r.GetWhen() == "before" && record.AsFound(j) != nil {
		return client.CorridorStart(j, nil).String()
	}
	return r.GetOf()
}

// Peaks are a run's greatest torque and power and where they are; empty where it has no curve.
func (m *MapRun) Peaks(u Units) (torque, power string) { return peaks(m.Curve, u) }

// Above says what a run's peaks are above those at the start, with half the width of their intervals where runs enough tell it.
func (m *MapRun) Above(u Units) string {
	if m.Gain == nil {
		return ""
	}
	return strings.Join([]string{above(m.Gain.GetPeakPower(), u.Power()), above(m.Gain.GetPeakTorque(), u.Torque())}, ", ")
}

func above(a *calibrationv1.GainAmount, in []Unit) string {
	s := Text(a.GetGain(), in, true)
	if a.PlusMinus != nil {
		s += fmt.Sprintf(" (± %s)", Text(a.GetPlusMinus(), in, false))
	}
	return s
}

// Columns are the rows of a table that sets runs side by side, its heading first.
func Columns(runs []*MapRun, start string, u Units) [][]string {
	rows := [][]string{{"map", "run", "when", "peak power", "peak torque", "gain to " + start}}
	for _, m := range runs {
		torque, power := m.Peaks(u)
		gain := m.Above(u)
		switch {
		case m.Why != "":
			gain = m.Why
		case m.Map == start:
			gain = "the start"
		}
		rows = append(rows, slices.Concat([]string{orDash(m.Map), fmt.Sprint(m.Entry.GetNumber()), m.Entry.GetWhen()},
			[]string{orDash(power), orDash(torque), orDash(gain)}))
	}
	return rows
}

func orDash(s string) string {
	if s == "" {
		return "-"
	}
	return oneLine(s)
}
