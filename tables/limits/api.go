// Package limits reads limits files and judges tables by their rules. A new kind of rule is a field of
// the message Rule, a file rule_NAME.go with what it refuses and how it judges, and a line in kinds.
package limits

import (
	"fmt"
	"maps"
	"slices"
	"strings"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/definition"
	"witnessmark/tables/image"
	"witnessmark/tables/yamldoc"
)

// Limits is a parsed limits file.
type Limits struct {
	Source *calibrationv1.Limits
	Name   string
	SHA256 string // hex, of the file as authored

	at *yamldoc.Locator // lines of the file, for Check's errors
}

// Load parses a limits file and checks what can be checked without a definition. Errors
// name file, line, field, what is wrong and what is allowed.
func Load(name string, file []byte) (*Limits, error) {
	src := &calibrationv1.Limits{}
	at, err := yamldoc.Decode(name, file, src, "reason", "source", "expression")
	if err != nil {
		return nil, err
	}
	l := &Limits{Source: src, Name: src.GetName(), SHA256: string(image.HashOf(file)), at: at}
	if err := l.parse(); err != nil {
		return nil, err
	}
	return l, nil
}

// Selected are the tables that a rule's select picks, in definition order: all that is
// given must hold, and an empty select picks every table.
func (l *Limits) Selected(rule *calibrationv1.Rule, lay *definition.Layout) []*definition.Table {
	var out []*definition.Table
	for _, t := range lay.Tables {
		if selects(rule.GetSelect(), t) {
			out = append(out, t)
		}
	}
	return out
}

// parse checks what a file says by itself.
func (l *Limits) parse() error {
	if err := l.at.Name("name", l.Name); err != nil {
		return err
	}
	for i, name := range l.Source.GetAppliesTo() {
		if err := l.at.Name(fmt.Sprintf("applies_to[%d]", i), name); err != nil {
			return err
		}
	}
	for i, fuel := range l.Source.GetFuel() {
		if strings.TrimSpace(fuel) == "" {
			return l.at.Errorf(fmt.Sprintf("fuel[%d]", i), "a fuel, as in 98 RON", "the fuel is empty")
		}
	}
	seen := map[string]string{}
	for i, r := range l.Source.GetRules() {
		path := fmt.Sprintf("rules[%d]", i)
		if err := l.at.ID(path, r.GetId(), seen); err != nil {
			return err
		}
		if AlwaysOn[r.GetId()] != "" {
			return l.at.Errorf(path+".id", "any id but "+strings.Join(slices.Sorted(maps.Keys(AlwaysOn)), ", "), "rule %q is always on and cannot be given", r.GetId())
		}
		if err := (&ruleCheck{l: l, path: path, rule: r}).parse(); err != nil {
			return err
		}
	}
	return nil
}
