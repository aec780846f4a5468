package run

import (
	"fmt"
	"math"
	"strings"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
)

// Sentence is what a gain shows, in one sentence without a stop; torque in a unit of so many N.m.
func Sentence(g *calibrationv1.RunGain, unit string, per float64) string {
	m := g.GetMeanTorque()
	torque := func(v float64) string { return strings.Replace(fmt.Sprintf("%.1f %s", v/per, unit), "-", "−", 1) }
	signed := func(v float64) string { return strings.Replace(fmt.Sprintf("%+.1f %s", v/per, unit), "-", "−", 1) }
	where := fmt.Sprintf("from %s to %s 1/min at the %s", Thousands(g.GetFrom()), Thousands(g.GetTo()), g.GetPlace())
	runs := "runs"
	if g.GetRunsBefore() == 1 {
		runs = "run"
	}
	how := fmt.Sprintf("%d %s before, %d after, %s", g.GetRunsBefore(), runs, g.GetRunsAfter(), conditions(g))
	switch {
	case m.PlusMinus == nil:
		return fmt.Sprintf("no gain is shown: mean torque differs by %s %s, but with one run on a side the spread between runs cannot be told (%s)", signed(m.GetGain()), where, how)
	case m.GetShown():
		verb := "rose"
		if m.GetGain() < 0 {
			verb = "fell"
		}
		return fmt.Sprintf("mean torque %s by %s (± %s) %s (%s)", verb, torque(math.Abs(m.GetGain())), torque(m.GetPlusMinus()), where, how)
	}
	none := fmt.Sprintf("mean torque %s differs by %s, within ± %s (%s)", where, signed(m.GetGain()), torque(m.GetPlusMinus()), how)
	var most *calibrationv1.GainAtSpeed
	for _, p := range g.GetPoints() {
		if p.GetShown() && (most == nil || math.Abs(p.GetGain()) > math.Abs(most.GetGain())) {
			most = p
		}
	}
	switch t, p := g.GetPeakTorque(), g.GetPeakPower(); {
	case most != nil:
		return fmt.Sprintf("torque at some engine speeds differs, most at %s 1/min: %s (± %s); %s", Thousands(most.GetSpeed()), signed(most.GetGain()), torque(most.GetPlusMinus()), none)
	case t.GetShown():
		return fmt.Sprintf("peak torque differs by %s (± %s); %s", signed(t.GetGain()), torque(t.GetPlusMinus()), none)
	case p.GetShown() || g.GetMeanPower().GetShown():
		return "power differs, as is told below; " + none
	}
	return "no gain is shown: " + none
}

// conditions says what was corrected, and what is not known of the weather.
func conditions(g *calibrationv1.RunGain) string {
	said := "uncorrected"
	if std := Standard(g.GetCorrection()); std != None {
		said = "corrected by " + g.GetCorrection()
		if s, err := find(std); err == nil {
			said = "corrected by " + s.title
		}
	}
	for _, r := range g.GetRemarks() {
		switch r.GetKind() {
		case "weather":
			return said + ", in different weather"
		case "unrecorded":
			return said + ", weather not known"
		}
	}
	return said
}
