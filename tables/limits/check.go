package limits

import (
	"fmt"
	"slices"
	"strings"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/definition"
	"witnessmark/tables/units"
)

// Check says whether the limits fit a definition: units convert, every rule selects a table,
// axes pair. The error names the rule, what is wrong and what is allowed. It is what
// `limits add`, `job open` and `compare` call when the two first meet.
func (l *Limits) Check(lay *definition.Layout) error {
	if to := l.Source.GetAppliesTo(); len(to) > 0 && !slices.Contains(to, lay.Name) {
		return l.at.Errorf("applies_to", "definitions "+strings.Join(to, ", "), "limits %s do not apply to definition %s", l.Name, lay.Name)
	}
	for i, r := range l.Source.GetRules() {
		c := &ruleCheck{l: l, path: fmt.Sprintf("rules[%d]", i), rule: r}
		if err := c.fits(lay); err != nil {
			return err
		}
	}
	return l.checkExpressions(lay)
}

// fits checks one rule against every table that it selects.
func (c *ruleCheck) fits(lay *definition.Layout) error {
	for i, id := range c.rule.GetSelect().GetTables() {
		if lay.ByID[id] == nil {
			return c.bad(fmt.Sprintf("select.tables[%d]", i), tableIDs(lay), "definition %s has no table %.60q", lay.Name, id)
		}
	}
	selected := c.l.Selected(c.rule, lay)
	if len(selected) == 0 {
		return c.bad("select", "quantity, role and tables that some table has, all together", "it selects no table of definition %s", lay.Name)
	}
	if a, field := c.other(); a != nil && lay.ByID[a.GetTable()] == nil {
		return c.bad(field+".table", tableIDs(lay), "definition %s has no table %.60q", lay.Name, a.GetTable())
	}
	for _, t := range selected {
		if err := c.table(t, lay); err != nil {
			return err
		}
	}
	return nil
}

// other is the table that a `below` or `above` names, and that field's name.
func (c *ruleCheck) other() (*calibrationv1.Against, string) {
	if b := c.rule.GetBelow(); b != nil {
		return b, "below"
	}
	return c.rule.GetAbove(), "above"
}

// named reports whether the rule names its tables. It must then be able to judge each of
// them; one that selects by quantity or role passes over those that it cannot judge.
func (c *ruleCheck) named() bool { return len(c.rule.GetSelect().GetTables()) > 0 }

// cannot is the error where the rule names a table that it cannot judge, and nothing where
// it would pass over it.
func (c *ruleCheck) cannot(t *definition.Table, allowed, format string, args ...any) error {
	if !c.named() {
		return nil
	}
	i := slices.Index(c.rule.GetSelect().GetTables(), t.ID)
	return c.bad(fmt.Sprintf("select.tables[%d]", i), allowed, "table %q %s", t.ID, fmt.Sprintf(format, args...))
}

// table checks the rule against one table.
func (c *ruleCheck) table(t *definition.Table, lay *definition.Layout) error {
	switch c.rule.GetKind().(type) {
	case *calibrationv1.Rule_Frozen, *calibrationv1.Rule_Expression:
		return nil
	case *calibrationv1.Rule_Covers:
		if t.X == nil {
			return c.cannot(t, "curves and maps", "has no axes")
		}
		return nil
	}
	if t.Cells.Conv.Labels != nil {
		return c.cannot(t, "tables of numbers; labels are for frozen and expression", "holds labels")
	}
	switch k := c.rule.GetKind().(type) {
	case *calibrationv1.Rule_Range:
		return c.level("range.unit", k.Range.GetUnit(), t)
	case *calibrationv1.Rule_Envelope:
		return c.envelopeFits(k.Envelope, t)
	case *calibrationv1.Rule_Change:
		if k.Change.GetPercent() {
			return nil
		}
		return c.difference("change.unit", k.Change.GetUnit(), t.Unit, fmt.Sprintf("table %q", t.ID))
	case *calibrationv1.Rule_Slope:
		return c.slopeFits(k.Slope, t)
	case *calibrationv1.Rule_Lump:
		return c.lumpFits(k.Lump, t)
	case *calibrationv1.Rule_Monotonic:
		return c.monotonicFits(k.Monotonic, t)
	}
	if a, field := c.other(); a != nil {
		return c.againstFits(field, a, t, lay.ByID[a.GetTable()])
	}
	return nil
}

// level checks that a limit's unit becomes the table's. A pressure is absolute unless its
// unit says gauge or the rule selects a quantity that does.
func (c *ruleCheck) level(field, unit string, t *definition.Table) error {
	return c.convert(field, c.rule.GetSelect().GetQuantity(), unit, t.Quantity, t.Unit, fmt.Sprintf("table %q", t.ID))
}

func (c *ruleCheck) convert(field, quantity, unit, toQuantity, toUnit, what string) error {
	if _, err := units.BetweenQuantities(quantity, unit, toQuantity, toUnit); err != nil {
		return c.conversion(field, what, err)
	}
	return nil
}

func (c *ruleCheck) difference(field, unit, to, what string) error {
	if _, err := units.BetweenDifferences(unit, to); err != nil {
		return c.conversion(field, what, err)
	}
	return nil
}

// conversion passes on what the conversion says is allowed.
func (c *ruleCheck) conversion(field, what string, err error) error {
	problem, allowed, _ := strings.Cut(err.Error(), "; allowed: ")
	return c.bad(field, allowed, "%s, for %s", problem, what)
}

// tableIDs lists what a rule may name, cut where a list would hide the message.
func tableIDs(lay *definition.Layout) string {
	const most = 40
	var ids []string
	for _, t := range lay.Tables {
		if len(ids) == most {
			return strings.Join(ids, ", ") + fmt.Sprintf(" and %d more", len(lay.Tables)-most)
		}
		ids = append(ids, t.ID)
	}
	return strings.Join(ids, ", ")
}
