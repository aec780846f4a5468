package limits

import (
	"fmt"
	"slices"
	"strings"

	"witnessmark/tables/definition"
	"witnessmark/tables/units"
)

// Check says whether the limits fit a definition: units convert, every rule selects a table,
// axes pair. The error names the rule, what is wrong and what is allowed. It is what
// `limits add`, `job open` and `compare` call when the two first meet.
func (l *Limits) Check(lay *definition.Layout) error {
	if f := l.fitted.Load(); f != nil && f.lay == lay {
		return f.err
	}
	f := &fitting{lay: lay}
	if faults := l.misfits(lay, nil); len(faults) > 0 {
		f.err = faults[0]
	}
	l.fitted.Store(f)
	return f.err
}

// misfits is what does not fit a definition, of each rule the first; rules that are bad themselves are passed over.
func (l *Limits) misfits(lay *definition.Layout, bad map[string]bool) (faults []error) {
	if to := l.Source.GetAppliesTo(); len(to) > 0 && !slices.Contains(to, lay.Name) {
		faults = append(faults, l.at.Errorf("applies_to", "definitions "+strings.Join(to, ", "), "limits %s do not apply to definition %s", l.Name, lay.Name))
	}
	c := &ruleCheck{l: l, lay: lay, shapes: shapesOf(lay)}
	for i, r := range l.Source.GetRules() {
		c.path, c.rule, c.kind = fmt.Sprintf("rules[%d]", i), r, kindOf(r)
		if bad[c.path] {
			continue
		}
		if err := c.fits(); err != nil {
			faults = append(faults, err)
		}
	}
	return faults
}

// fits checks one rule against every table that it selects.
func (c *ruleCheck) fits() error {
	lay := c.lay
	for _, list := range []struct {
		field string
		ids   []string
	}{{"tables", c.rule.GetSelect().GetTables()}, {"except", c.rule.GetSelect().GetExcept()}} {
		for i, id := range list.ids {
			if lay.ByID[id] == nil {
				return c.bad(fmt.Sprintf("select.%s[%d]", list.field, i), lay.TableIDs(), "definition %s has no table %.60q", lay.Name, id)
			}
		}
	}
	if ids := c.rule.GetSelect().GetSignals(); len(ids) > 0 {
		return c.signalsFit(ids)
	}
	if !slices.ContainsFunc(lay.Tables, func(t *definition.Table) bool { return selects(c.rule.GetSelect(), t) }) {
		return c.bad("select", "quantity, role and tables that some table has, all together", "it selects no table of definition %s", lay.Name)
	}
	if c.kind.once != nil {
		if err := c.kind.once(c); err != nil {
			return err
		}
	}
	// Where it does not name its tables, a rule fits one as it fits the first of its shape.
	seen := make([]bool, len(c.shapes))
	for i, t := range lay.Tables {
		like := c.shapes[i]
		if seen[like] && !c.named() || !selects(c.rule.GetSelect(), t) {
			continue
		}
		if err := c.table(t); err != nil {
			return err
		}
		seen[like] = t.ID != c.kind.against(c.rule) // which nobody holds against itself
	}
	return nil
}

// shapesOf is, for each table, the first in the definition that a rule cannot tell from it but by its name.
func shapesOf(lay *definition.Layout) []int {
	type shape struct {
		quantity, unit string
		labels, text   bool
		x, y           *definition.Axis
		more           string // axes beyond y
	}
	first, out := map[shape]int{}, make([]int, len(lay.Tables))
	for i, t := range lay.Tables {
		of := shape{t.Quantity, valueUnit(t), !isText(t) && t.Cells.Conv.Labels != nil, isText(t), t.X, t.Y, ""}
		for _, a := range beyondY(t) {
			of.more += fmt.Sprintf("%p ", a)
		}
		if _, known := first[of]; !known {
			first[of] = i
		}
		out[i] = first[of]
	}
	return out
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
func (c *ruleCheck) table(t *definition.Table) error {
	switch {
	case isText(t) && c.kind != frozenKind:
		return c.cannot(t, "tables of numbers; a text is for frozen", "is a text")
	case isText(t):
	case t.Cells.Conv.Labels != nil && !c.kind.labels:
		return c.cannot(t, "tables of numbers; labels are for frozen and expression", "holds labels")
	}
	if c.kind.fits != nil {
		if err := c.kind.fits(c, t); err != nil {
			return err
		}
	}
	return c.whereFits(t)
}

// hasAxes is what a kind that judges axes asks of a table.
func (c *ruleCheck) hasAxes(t *definition.Table) error {
	if t.X == nil {
		return c.cannot(t, "curves and maps", "has no axes")
	}
	return nil
}

// level checks that a limit's unit becomes the table's. A pressure is absolute unless its
// unit says gauge or the rule selects a quantity that does.
func (c *ruleCheck) level(field, unit string, t *definition.Table) error {
	return c.convert(field, c.rule.GetSelect().GetQuantity(), unit, t.Quantity, valueUnit(t), fmt.Sprintf("table %q", t.ID))
}

// convert asks that a unit becomes another one. Free text does not, and whatever meets it is unjudged.
func (c *ruleCheck) convert(field, quantity, unit, toQuantity, toUnit, what string) error {
	if convertible(unit, toUnit) != nil {
		return nil
	}
	if _, err := units.BetweenQuantities(quantity, unit, toQuantity, toUnit); err != nil {
		return c.conversion(field, what, err)
	}
	return nil
}

func (c *ruleCheck) difference(field, unit, to, what string) error {
	if convertible(unit, to) != nil {
		return nil
	}
	if _, err := units.BetweenDifferences(unit, to); err != nil {
		return c.conversion(field, what, err)
	}
	return nil
}

// differenceOf checks that a difference's unit becomes the table's.
func (c *ruleCheck) differenceOf(field, unit string, t *definition.Table) error {
	return c.difference(field, unit, valueUnit(t), fmt.Sprintf("table %q", t.ID))
}

// conversion passes on what the conversion says is allowed.
func (c *ruleCheck) conversion(field, what string, err error) error {
	problem, allowed, _ := strings.Cut(err.Error(), "; allowed: ")
	return c.bad(field, allowed, "%s, for %s", problem, what)
}
