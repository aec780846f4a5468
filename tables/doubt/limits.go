package doubt

import (
	"fmt"
	"strings"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/definition"
	"witnessmark/tables/limits"
	"witnessmark/tables/severity"
)

// OfLimits is all that is wrong or doubtful in a limits file, for a definition; without one it is what is
// wrong in the file by itself.
func OfLimits(name string, file []byte, lay *definition.Layout) []Doubt {
	l, faults := limits.Examine(name, file, lay)
	f := newFinder(name, file, faults)
	if l == nil || lay == nil {
		return InOrder(f.all)
	}
	looked := map[string]bool{}
	for i, r := range l.Source.GetRules() {
		path := fmt.Sprintf("rules[%d]", i)
		selected := l.Selected(r, lay)
		for _, t := range lay.Tables {
			if r.GetExpression() != "" {
				looked[t.ID] = looked[t.ID] || strings.Contains(r.GetExpression(), "'"+t.ID+"'") || strings.Contains(r.GetExpression(), `"`+t.ID+`"`)
			}
		}
		if len(r.GetSelect().GetSignals()) > 0 {
			selected = nil
			for _, id := range r.GetSelect().GetSignals() {
				if s := lay.SignalByID[id]; s != nil {
					selected = append(selected, s.Tables...)
				}
			}
		} else {
			f.bounds(path, r, selected)
		}
		for _, t := range selected {
			looked[t.ID] = looked[t.ID] || r.GetExpression() == ""
		}
		if r.GetReason() == "" || r.GetSource() == "" {
			f.say(severity.Notice, path, "", "rule %s says no reason, or no source of its numbers; both are printed with each finding", r.GetId())
		}
	}
	var unseen []string
	for _, t := range lay.Tables {
		if !looked[t.ID] {
			unseen = append(unseen, t.ID)
		}
	}
	if len(unseen) > 0 && len(faults) == 0 {
		f.say(severity.Notice, "rules", "", "no rule looks at %d of %d tables: %s", len(unseen), len(lay.Tables), some(unseen))
	}
	return InOrder(f.all)
}

// bounds asks whether the numbers of a limit are usual for what it judges.
func (f *finder) bounds(path string, r *calibrationv1.Rule, selected []*definition.Table) {
	quantity := r.GetSelect().GetQuantity()
	for _, t := range selected {
		if t.Role == "correction" {
			return
		}
		if quantity == "" {
			quantity = t.Quantity
		}
	}
	ask := func(field, unit string, v float64) {
		if u, ok := usualOf(quantity, unit); ok && (v < u.low || v > u.high) {
			f.say(severity.Caution, path+"."+field, u.String(), "rule %s: %g %s is far outside what %s usually is, so that it may never find anything", r.GetId(), v, unit, quantity)
		}
	}
	if g := r.GetRange(); g != nil {
		if g.Min != nil {
			ask("range.min", g.GetUnit(), g.GetMin())
		}
		if g.Max != nil {
			ask("range.max", g.GetUnit(), g.GetMax())
		}
	}
	for i, row := range r.GetEnvelope().GetValues() {
		for j, v := range row.GetValues() {
			ask(fmt.Sprintf("envelope.values[%d][%d]", i, j), r.GetEnvelope().GetUnit(), v.GetNumberValue())
		}
	}
}
