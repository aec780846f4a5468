// Package proposed makes a set of limits to start from, out of a definition's quantities and roles and, where one is given, an
// image. What it knows of no engine it does not say: its numbers are steps from what was there, or what the image holds.
package proposed

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/definition"
	"witnessmark/tables/image"
	"witnessmark/tables/limits"
	"witnessmark/tables/yamlout"
)

// Mark is the source of every rule, so that it is printed with every finding.
const Mark = "a starting point, not a limit of your engine"

// level is the severity of every rule.
const level = "caution"

// Proposal is limits to start from, and what they leave open.
type Proposal struct {
	Limits *calibrationv1.Limits
	File   []byte   // Limits as a person would write them
	Silent []Silent // what no rule looks at, in the definition's order
	Unkept []string // what would be proposed, but the image itself does not keep
}

// Silent is tables of a quantity that no rule looks at.
type Silent struct {
	Quantity string   `json:"quantity"` // empty where the definition says none
	Tables   []string `json:"tables"`
}

func (s Silent) String() string {
	if s.Quantity == "" {
		return "no rule was proposed for tables without a quantity: " + some(s.Tables)
	}
	return fmt.Sprintf("no rule was proposed for %s: %s", s.Quantity, some(s.Tables))
}

// some names the first few of many.
func some(ids []string) string {
	const most = 12
	names := strings.Join(ids[:min(most, len(ids))], ", ")
	if more := len(ids) - most; more > 0 {
		names += fmt.Sprintf(" and %d more", more)
	}
	return names
}

// proposal is a rule under way, and the tables that it is for; none where it is for signals.
type proposal struct {
	rule   *calibrationv1.Rule
	tables []*definition.Table
}

type proposer struct {
	lay   *definition.Layout
	im    *image.Image // nil for none
	rules []*proposal
}

// Limits proposes limits for a definition, on these fuels, if any. With an image, of the definition's layout, also how smooth its
// tables are and which way they run, and no rule that it breaks.
func Limits(lay *definition.Layout, im *image.Image, fuel []string) (*Proposal, error) {
	p := &proposer{lay: lay, im: im}
	p.guard()
	p.against()
	p.signals()
	if err := p.directions(); err != nil {
		return nil, err
	}
	out := &Proposal{}
	if im != nil {
		if err := p.smooth(); err != nil {
			return nil, err
		}
		if err := p.kept(out); err != nil {
			return nil, err
		}
	}
	if len(p.rules) == 0 {
		return nil, fmt.Errorf("definition %s: nothing can be proposed, since no quantity or role of its tables says what is to be guarded; allowed: tables with a quantity, as ignition_advance, and a role, as target", lay.Name)
	}
	lim, err := p.load(p.rules, fuel)
	if err != nil {
		return nil, err
	}
	out.Limits, out.File = lim.Source, yamlout.Write(lim.Source)
	out.Silent = p.silent()
	return out, nil
}

// load makes a limits file of rules, read as any other.
func (p *proposer) load(rules []*proposal, fuel []string) (*limits.Limits, error) {
	const suffix, longest = "-start", 100
	name := p.lay.Name[:min(len(p.lay.Name), longest-len(suffix))] + suffix
	m := &calibrationv1.Limits{Name: name, Title: cmp.Or(p.lay.Source.GetTitle(), p.lay.Name) + ": " + Mark, AppliesTo: []string{p.lay.Name}, Fuel: fuel}
	for _, r := range rules {
		if len(r.tables) > 0 {
			r.rule.Select = p.selecting(r.tables)
		}
		if r.rule.GetSelect() != nil {
			m.Rules = append(m.Rules, r.rule)
		}
	}
	lim, err := limits.Load(name+".yaml", yamlout.Write(m))
	if err == nil {
		err = lim.Check(p.lay)
	}
	return lim, err
}

// selecting says which tables in the fewest words that mean these and no others.
func (p *proposer) selecting(tables []*definition.Table) *calibrationv1.Select {
	t := tables[0]
	for _, s := range []*calibrationv1.Select{{Quantity: t.Quantity}, {Role: t.Role}, {Quantity: t.Quantity, Role: t.Role}} {
		if s.Quantity == "" && s.Role == "" {
			continue
		}
		if slices.Equal((&limits.Limits{}).Selected(&calibrationv1.Rule{Select: s}, p.lay), tables) {
			return s
		}
	}
	s := &calibrationv1.Select{}
	for _, t := range tables {
		s.Tables = append(s.Tables, t.ID)
	}
	return s
}

// add has a rule proposed for tables, if there are any.
func (p *proposer) add(r *calibrationv1.Rule, tables ...*definition.Table) {
	r.Severity, r.Source = level, Mark
	if len(tables) > 0 || len(r.GetSelect().GetSignals()) > 0 {
		p.rules = append(p.rules, &proposal{r, tables})
	}
}

// among are the tables of which something holds, in the definition's order.
func (p *proposer) among(of func(*definition.Table) bool) (out []*definition.Table) {
	for _, t := range p.lay.Tables {
		if of(t) {
			out = append(out, t)
		}
	}
	return out
}

// silent gathers, by quantity, what no rule selects.
func (p *proposer) silent() (out []Silent) {
	looked := map[*definition.Table]bool{}
	for _, r := range p.rules {
		for _, t := range r.tables {
			looked[t] = true
		}
	}
	for _, t := range p.lay.Tables {
		if looked[t] {
			continue
		}
		i := slices.IndexFunc(out, func(s Silent) bool { return s.Quantity == t.Quantity })
		if i < 0 {
			i, out = len(out), append(out, Silent{Quantity: t.Quantity})
		}
		out[i].Tables = append(out[i].Tables, t.ID)
	}
	return out
}
