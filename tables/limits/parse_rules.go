package limits

import (
	"fmt"
	"slices"
	"strings"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/definition"
	"witnessmark/tables/severity"
)

// ruleCheck is one rule being checked, at its place in the file.
type ruleCheck struct {
	l    *Limits
	path string
	rule *calibrationv1.Rule
	kind *kind

	lay    *definition.Layout // nil where the rule is checked by itself
	shapes []int              // of its tables: see shapesOf
	exprs  *evaluator         // made when the first expression wants it
}

// bad is an error about the rule, at a field of it.
func (c *ruleCheck) bad(field, allowed, format string, args ...any) error {
	path := c.path
	if field != "" {
		path += "." + field
	}
	return c.l.at.Errorf(path, allowed, "rule %s: %s", c.rule.GetId(), fmt.Sprintf(format, args...))
}

func (c *ruleCheck) word(field, word string, allowed ...string) error {
	switch list := strings.Join(allowed, ", "); {
	case word == "":
		return c.bad(field, list, "the field is missing")
	case !slices.Contains(allowed, word):
		return c.bad(field, list, "%.60q is not known", word)
	}
	return nil
}

func (c *ruleCheck) unit(field, unit string) error {
	if unit == "" {
		return c.bad(field, `a UCUM code, "1" for a number without a unit`, "the unit is missing")
	}
	return nil
}

// atLeastZero checks a bound that must be there.
func (c *ruleCheck) atLeastZero(field string, v *float64) error {
	switch {
	case v == nil:
		return c.bad(field, "a number, 0 or more", "the number is missing")
	case !(*v >= 0):
		return c.bad(field, "a number, 0 or more", "%v is below 0", *v)
	}
	return nil
}

// parse checks the rule without a definition.
func (c *ruleCheck) parse() error {
	if err := c.word("severity", c.rule.GetSeverity(), severity.Words()[1:]...); err != nil {
		return err
	}
	if role := c.rule.GetSelect().GetRole(); role != "" {
		if err := c.word("select.role", role, "target", "limit", "correction", "transfer", "threshold", "switch"); err != nil {
			return err
		}
	}
	if err := c.selection(); err != nil {
		return err
	}
	switch c.kind = kindOf(c.rule); {
	case c.kind == nil:
		return c.bad("", "one of "+kindNames(func(*kind) bool { return true }), "it says nothing that a table must keep")
	case len(c.rule.GetSelect().GetSignals()) > 0 && c.kind.ofSignal == nil:
		return c.bad("select.signals", "signals for "+kindNames(func(k *kind) bool { return k.ofSignal != nil }), "%s judges tables alone", c.kind.name)
	}
	if err := c.where(); err != nil {
		return err
	}
	if c.kind.parse != nil {
		return c.kind.parse(c)
	}
	return nil
}

// selection checks that ids are named once, and signals without what selects tables.
func (c *ruleCheck) selection() error {
	s := c.rule.GetSelect()
	for _, list := range []struct {
		field, what string
		ids         []string
	}{{"tables", "table", s.GetTables()}, {"signals", "signal", s.GetSignals()}, {"except", "table", s.GetExcept()}} {
		seen := map[string]bool{}
		for i, id := range list.ids {
			if seen[id] {
				return c.bad(fmt.Sprintf("select.%s[%d]", list.field, i), "each "+list.what+" once", "%s %q is named twice", list.what, id)
			}
			seen[id] = true
		}
	}
	if len(s.GetSignals()) > 0 && (s.GetQuantity() != "" || s.GetRole() != "" || len(s.GetTables())+len(s.GetExcept()) > 0) {
		return c.bad("select.signals", "signals alone, or quantity, role, tables and except", "a rule judges signals or tables")
	}
	return nil
}
