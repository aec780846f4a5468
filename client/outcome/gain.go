package outcome

import (
	"fmt"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/run"
)

// Gain is what was gained, and that in one sentence in the units asked for.
type Gain struct {
	*calibrationv1.RunGain
	Verdict string
	units   Units
}

// NewGain is a gain as it is printed.
func NewGain(g *calibrationv1.RunGain, in Units) *Gain {
	unit := in.Torque()[0]
	return &Gain{RunGain: g, Verdict: run.Sentence(g, unit.Name, unit.Per), units: in}
}

// At says where torque was measured.
func (g *Gain) At() string { return place(run.Place(g.GetPlace())) }

// Band says over which speeds the means are taken, how many runs there are, and what could have been shown.
func (g *Gain) Band() string {
	s := fmt.Sprintf("Means over %.0f to %.0f 1/min; %d before, %d after.", g.GetFrom(), g.GetTo(), g.GetRunsBefore(), g.GetRunsAfter())
	if l := g.GetLeastShown(); l != nil {
		s += fmt.Sprintf(" These runs could have shown a mean gain of %s or %s. The intervals hold together in 99 of 100 jobs.",
			Text(l.GetTorque(), g.units.Torque(), false), Text(l.GetPower(), g.units.Power(), false))
	}
	return s
}

// Row is one line of the gains.
type Row struct {
	What, Before, After, Gain, Note string
	Shown                           bool
}

// Rows are the gains in words.
func (g *Gain) Rows() []Row {
	return []Row{
		rowOf("peak torque", g.PeakTorque, g.units.Torque()), rowOf("peak power", g.PeakPower, g.units.Power()),
		rowOf("mean torque", g.MeanTorque, g.units.Torque()), rowOf("mean power", g.MeanPower, g.units.Power()),
	}
}

func rowOf(what string, a *calibrationv1.GainAmount, in []Unit) Row {
	r := Row{What: what, Before: Text(a.GetBefore(), in, false), After: Text(a.GetAfter(), in, false), Gain: Text(a.GetGain(), in, true), Shown: a.GetShown()}
	switch {
	case a.PlusMinus == nil:
		r.Note = "spread cannot be told"
	case a.GetShown():
		r.Note = "± " + Text(a.GetPlusMinus(), in, false)
	default:
		r.Note = "not shown: within ± " + Text(a.GetPlusMinus(), in, false)
	}
	return r
}

// Rows are the gains in words, peaks with where each side has them in the mean; none where the sides cannot
// be compared.
func (o *Outcome) Rows() []Row {
	if o.Gain == nil {
		return nil
	}
	rows := o.Gain.Rows()
	for i, peak := range []func(*run.Curve) float64{
		func(c *run.Curve) float64 { return c.PeakTorque.Speed }, func(c *run.Curve) float64 { return c.PeakPower.Speed },
	} {
		rows[i].Before += o.about("before", peak)
		rows[i].After += o.about("after", peak)
	}
	return rows
}

func (o *Outcome) about(when string, peak func(*run.Curve) float64) string {
	curves := o.side(when)
	sum := 0.0
	for _, c := range curves {
		sum += peak(c) / float64(len(curves))
	}
	return fmt.Sprintf(" at %.0f", sum)
}
