// Package limits reads limits files and judges tables, and the signals computed from them, by their rules. A new
// kind of rule is a field of the message Rule, a file rule_NAME.go with what it refuses and how it judges, and a line in kinds.
package limits

import (
	"fmt"
	"maps"
	"slices"
	"strings"
	"sync/atomic"

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

	at     *yamldoc.Locator // lines of the file, for Check's errors
	fitted atomic.Pointer[fitting]
}

// fitting is what the last Check said: who judges image after image asks it of one layout.
type fitting struct {
	lay   *definition.Layout
	err   error
	units resolved
}

// Load parses a limits file and checks what can be checked without a definition. Errors
// name file, line, field, what is wrong and what is allowed.
func Load(name string, file []byte) (*Limits, error) {
	src := &calibrationv1.Limits{}
	at, err := yamldoc.Decode(name, file, src, proseFields...)
	if err != nil {
		return nil, err
	}
	l := &Limits{Source: src, Name: src.GetName(), SHA256: string(image.HashOf(file)), at: at}
	for _, err := range l.parse(nil) {
		return nil, err
	}
	return l, nil
}

// Examine is Load and Check that go on after a fault, and tell all by line: of each rule the first. Without
// a definition it is Load alone. The limits are nil where the file is no YAML.
func Examine(name string, file []byte, lay *definition.Layout) (*Limits, []error) {
	src := &calibrationv1.Limits{}
	at, faults := yamldoc.DecodeAll(name, file, src, proseFields...)
	if at == nil {
		return nil, faults
	}
	bad := map[string]bool{}
	for _, err := range faults {
		bad[yamldoc.Element(err)] = true
	}
	l := &Limits{Source: src, Name: src.GetName(), SHA256: string(image.HashOf(file)), at: at}
	if faults = append(faults, l.parse(bad)...); lay != nil {
		faults = append(faults, l.misfits(lay, bad)...)
	}
	return l, yamldoc.InOrder(faults)
}

// proseFields may have several lines.
var proseFields = []string{"reason", "source", "expression"}

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

// parse checks what a file says by itself: of each rule the first fault. What is read badly already is
// passed over, and what is at fault joins it.
func (l *Limits) parse(bad map[string]bool) (faults []error) {
	wrong := func(path string, err error) {
		if err != nil && !bad[path] {
			faults = append(faults, err)
		}
	}
	wrong("name", l.at.Name("name", l.Name))
	for i, name := range l.Source.GetAppliesTo() {
		path := fmt.Sprintf("applies_to[%d]", i)
		wrong(path, l.at.Name(path, name))
	}
	for i, fuel := range l.Source.GetFuel() {
		if path := fmt.Sprintf("fuel[%d]", i); strings.TrimSpace(fuel) == "" {
			wrong(path, l.at.Errorf(path, "a fuel, as in 98 RON", "the fuel is empty"))
		}
	}
	seen := map[string]string{}
	for i, r := range l.Source.GetRules() {
		path := fmt.Sprintf("rules[%d]", i)
		if err := l.rule(path, r, seen); err != nil {
			wrong(path, err)
			if bad != nil {
				bad[path] = true
			}
		}
	}
	return faults
}

func (l *Limits) rule(path string, r *calibrationv1.Rule, seen map[string]string) error {
	if err := l.at.ID(path, r.GetId(), seen); err != nil {
		return err
	}
	if AlwaysOn[r.GetId()] != "" {
		return l.at.Errorf(path+".id", "any id but "+strings.Join(slices.Sorted(maps.Keys(AlwaysOn)), ", "), "rule %q is always on and cannot be given", r.GetId())
	}
	return (&ruleCheck{l: l, path: path, rule: r}).parse()
}
