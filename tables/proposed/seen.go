package proposed

import (
	"fmt"
	"slices"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/compare"
	"witnessmark/tables/definition"
)

// seen is what rules found in the image, by rule and table, or rule and signal.
type seen struct {
	found    map[string]*calibrationv1.Finding
	unjudged map[string]bool
}

// check judges the image by rules.
func (p *proposer) check(rules []*proposal) (seen, error) {
	out := seen{map[string]*calibrationv1.Finding{}, map[string]bool{}}
	lim, err := p.load(rules, nil)
	if err != nil {
		return out, err
	}
	report, err := compare.Check(p.im, p.lay, lim, nil)
	for _, f := range report.GetFindings() {
		out.found[compare.Key(f)] = f
	}
	for _, u := range report.GetUnjudged() {
		out.unjudged[u.GetRule()+":"+u.GetTable()] = true
	}
	return out, err
}

// of is what a rule found in a table; nil for nothing.
func (s seen) of(r *proposal, t *definition.Table) *calibrationv1.Finding {
	return s.found[r.rule.GetId()+":"+t.ID]
}

// keeps says whether the image keeps a rule in a table that the rule could judge.
func (s seen) keeps(r *proposal, t *definition.Table) bool {
	return s.of(r, t) == nil && !s.unjudged[r.rule.GetId()+":"+t.ID]
}

// kept takes out of each rule the tables that break it in the image, and the rule where none is left.
func (p *proposer) kept(out *Proposal) error {
	saw, err := p.check(p.rules)
	if err != nil {
		return err
	}
	for _, r := range p.rules {
		var broken []string
		r.tables = slices.DeleteFunc(r.tables, func(t *definition.Table) bool {
			if saw.of(r, t) == nil {
				return false
			}
			broken = append(broken, t.ID)
			return true
		})
		if broken != nil {
			out.Unkept = append(out.Unkept, fmt.Sprintf("%s is not proposed where the image itself does not keep it: %s", r.rule.GetId(), some(broken)))
		}
	}
	p.rules = slices.DeleteFunc(p.rules, func(r *proposal) bool { return len(r.tables)+len(r.rule.GetSelect().GetSignals()) == 0 })
	return nil
}
