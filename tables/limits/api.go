// Package limits reads limits files and judges tables by their rules. A new kind of rule is a field of
// the message Rule, a file rule_NAME.go with what it refuses and how it judges, and a line in kinds.
package limits

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"regexp"
	"slices"
	"strings"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/definition"
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
	sum := sha256.Sum256(file)
	l := &Limits{Source: src, Name: src.GetName(), SHA256: hex.EncodeToString(sum[:]), at: at}
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

var (
	namePattern = regexp.MustCompile(`^[a-z0-9._-]{1,100}$`)
	idPattern   = regexp.MustCompile(`^[A-Za-z0-9][A-Za-z0-9._-]{0,99}$`)
)

// alwaysOn are the rules that the comparison brings itself; a finding's key must not be theirs.
var alwaysOn = []string{
	"identity", "unmapped-bytes", "checksum", "not-finite", "axis-order", "mirror", "meaning-moved",
	"copies", "not-meant", "no-limit", "carried", "rule-error",
}

// parse checks what a file says by itself.
func (l *Limits) parse() error {
	if !namePattern.MatchString(l.Name) {
		return l.at.Errorf("name", "1 to 100 of a-z, 0-9, dot, underscore and hyphen", "%.60q cannot be a name", l.Name)
	}
	for i, name := range l.Source.GetAppliesTo() {
		if !namePattern.MatchString(name) {
			return l.at.Errorf(fmt.Sprintf("applies_to[%d]", i), "names of definitions", "%.60q cannot be one", name)
		}
	}
	for i, fuel := range l.Source.GetFuel() {
		if strings.TrimSpace(fuel) == "" {
			return l.at.Errorf(fmt.Sprintf("fuel[%d]", i), "a fuel, as in 98 RON", "the fuel is empty")
		}
	}
	seen := map[string]int{}
	for i, r := range l.Source.GetRules() {
		path := fmt.Sprintf("rules[%d]", i)
		if !idPattern.MatchString(r.GetId()) {
			return l.at.Errorf(path+".id", "letters, digits, dot, underscore and hyphen, at most 100, the first a letter or digit",
				"%.60q cannot be an id", r.GetId())
		}
		if slices.Contains(alwaysOn, r.GetId()) {
			return l.at.Errorf(path+".id", "any id but "+strings.Join(alwaysOn, ", "), "rule %q is always on and cannot be given", r.GetId())
		}
		if j, twice := seen[r.GetId()]; twice {
			return l.at.Errorf(path+".id", "each id once", "id %q is already used by rules[%d]", r.GetId(), j)
		}
		seen[r.GetId()] = i
		if err := (&ruleCheck{l: l, path: path, rule: r}).parse(); err != nil {
			return err
		}
	}
	return nil
}
