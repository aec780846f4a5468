package limits

import (
	"fmt"
	"maps"
	"slices"
	"strings"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/bounded"
	"witnessmark/tables/definition"
)

// signalsFit checks a rule that judges signals.
func (c *ruleCheck) signalsFit(ids []string) error {
	for i, id := range ids {
		s := c.lay.SignalByID[id]
		if s == nil {
			return c.bad(fmt.Sprintf("select.signals[%d]", i), signalIDs(c.lay.Signals), "definition %s has no signal %.60q", c.lay.Name, id)
		}
		if err := c.signal(s); err != nil {
			return err
		}
	}
	return nil
}

// signal checks the rule's units and quantities against one signal.
func (c *ruleCheck) signal(s *definition.Signal) error {
	what := fmt.Sprintf("signal %q", s.ID)
	var err error
	switch c.kind {
	case rangeKind:
		err = c.convert("range.unit", "", c.rule.GetRange().GetUnit(), s.Quantity, s.Unit, what)
	case changeKind:
		if ch := c.rule.GetChange(); !ch.GetPercent() {
			err = c.difference("change.unit", ch.GetUnit(), s.Unit, what)
		}
	case envelopeKind:
		e := c.rule.GetEnvelope()
		if err = c.convert("envelope.unit", "", e.GetUnit(), s.Quantity, s.Unit, what); err == nil {
			err = c.operating("envelope.x.quantity", "envelope.x.unit", e.GetX().GetQuantity(), e.GetX().GetUnit())
		}
		if err == nil && e.GetY() != nil {
			err = c.operating("envelope.y.quantity", "envelope.y.unit", e.GetY().GetQuantity(), e.GetY().GetUnit())
		}
	}
	for _, q := range slices.Sorted(maps.Keys(c.rule.GetWhere())) {
		if err == nil {
			err = c.operating(whereField(q), whereField(q)+".unit", q, c.rule.GetWhere()[q].GetUnit())
		}
	}
	if n := c.inputs(s); err == nil && n > bounded.MaxInputs {
		return c.bad("", fmt.Sprintf("at most %d, of the signal and of what the rule goes by", bounded.MaxInputs), "signal %q is judged over %d inputs", s.ID, n)
	}
	return err
}

// inputs is how many inputs an operating point of the signal has under the rule.
func (c *ruleCheck) inputs(s *definition.Signal) int {
	all := map[string]bool{}
	of := func(s *definition.Signal) {
		for _, in := range s.Inputs {
			all[in.Quantity] = true
		}
	}
	of(s)
	for q := range indexing(c.rule) {
		if feeders := c.lay.Feeders(q); len(feeders) > 0 {
			of(feeders[0])
		} else {
			all[q] = true
		}
	}
	return len(all)
}

// indexing are the quantities that a rule's limits go by, and those that it is confined in.
func indexing(r *calibrationv1.Rule) map[string]bool {
	out := map[string]bool{}
	for _, a := range []*calibrationv1.EnvelopeAxis{r.GetEnvelope().GetX(), r.GetEnvelope().GetY()} {
		if a != nil {
			out[a.GetQuantity()] = true
		}
	}
	for q := range r.GetWhere() {
		out[q] = true
	}
	return out
}

// operating asks that a quantity is one of the operating point: what a signal feeds, or an input.
func (c *ruleCheck) operating(field, unitField, quantity, unit string) error {
	feeders, in := c.lay.Feeders(quantity), c.lay.InputOf(quantity)
	switch {
	case len(feeders) > 1:
		return c.bad(field, "quantities that one signal feeds, or none", "several signals feed %q: %s", quantity, signalIDs(feeders))
	case len(feeders) == 1:
		f := feeders[0]
		return c.convert(unitField, quantity, unit, f.Quantity, f.Unit, fmt.Sprintf("signal %q", f.ID))
	case in == nil:
		return c.bad(field, operatingQuantities(c.lay), "%.60q is no input, and no signal feeds it", quantity)
	}
	return c.convert(unitField, quantity, unit, quantity, in.Unit, fmt.Sprintf("input %q", quantity))
}

// mostNamed is how many names an error lists.
const mostNamed = 40

func signalIDs(signals []*definition.Signal) string {
	ids := make([]string, len(signals))
	for i, s := range signals {
		ids[i] = s.ID
	}
	return strings.Join(ids[:min(len(ids), mostNamed)], ", ")
}

func operatingQuantities(lay *definition.Layout) string {
	var names []string
	for _, in := range lay.Inputs {
		names = append(names, in.Quantity)
	}
	for _, s := range lay.Signals {
		if s.Feeds && len(lay.Feeders(s.Quantity)) == 1 {
			names = append(names, s.Quantity)
		}
	}
	return strings.Join(names[:min(len(names), mostNamed)], ", ")
}
