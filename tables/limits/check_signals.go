package limits

import (
	"fmt"
	"maps"
	"slices"
	"strings"

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
	return err
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
