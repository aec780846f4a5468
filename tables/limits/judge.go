package limits

import (
	"fmt"
	"slices"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/arena"
	"witnessmark/tables/definition"
	"witnessmark/tables/signal"
	"witnessmark/tables/surface"
)

// JudgeInput is what the rules look at. The two functions answer from a cache, and nil where
// that side lacks the table.
type JudgeInput struct {
	Layout          *definition.Layout
	CandidateLayout *definition.Layout               // nil if the same
	Changed         []string                         // table ids in definition order; in a check all of them
	Base            func(id string) *surface.Decoded // nil in a check
	Candidate       func(id string) *surface.Decoded
	Job             *calibrationv1.JobFacts // nil for none
	Check           bool                    // one image: no base, no origins, everything counts
	Run             *Run                    // nil for none: then covers says nothing

	AsFound   func(id string) *surface.Decoded // what the car first came with; nil for none
	Unknown   func(id string) string           // why a table cannot be read, as where its bytes are a hole; nil, or empty where it can
	NewGround []NewGround                      // where tables are read that were not read before

	budget int // of boxes, in tests; 0 is what bounded judgement has
}

// NewGround is a stretch of a quantity that the engine newly gets into, from the old reach to the
// new one, which lies below it where the least fell.
type NewGround struct {
	Quantity string
	From, To float64
	Unit     string
	By       []string // the tables that moved
}

// Judged is what the rules found.
type Judged struct {
	Findings []*calibrationv1.Finding // in the order of the rules, then of the tables, then of the origins
	JudgedBy map[string][]string      // id of a table or a signal to the rules that looked at it, in limits order
	Through  map[string][]string      // table id to the rules that looked at it in a signal, likewise
	Margins  []*calibrationv1.Margin
	Unjudged []*calibrationv1.Unjudged
	Passed   []*calibrationv1.Unjudged // rules that had nothing to look at in a table that they select, and why: no report lists them

	declared map[string]bool // rules that repeat what the definition's author declared
	boxes    int             // of bounded judgement, all told
}

// Looked says whether any of the rules that judged something looked by itself: not those that only repeat what the
// definition's author declared.
func (o *Judged) Looked(by []string) bool {
	return slices.ContainsFunc(by, func(rule string) bool { return !o.declared[rule] })
}

// Judge runs every rule. The limits must fit the layout (see Check); where one cannot be evaluated
// all the same, a `rule-error` finding says so and the rest stands. The error is for an input that
// makes no sense at all.
func Judge(l *Limits, in JudgeInput) (*Judged, error) {
	if in.Layout == nil || in.Candidate == nil || in.Base == nil && !in.Check {
		return nil, fmt.Errorf("judging needs a definition, a candidate and, but for a check, a base")
	}
	j := newJudge(in)
	j.rules = len(l.Source.GetRules())
	if f := l.fitted.Load(); f != nil && f.lay == j.lay {
		j.units = &f.units
	}
	for _, id := range in.Changed {
		if t := j.lay.ByID[id]; t != nil {
			j.touched = append(j.touched, t)
		}
	}
	j.wide = j.wider()
	for _, r := range l.Source.GetRules() {
		if r.GetDeclared() {
			j.out.declared[r.GetId()] = true
		}
		switch k := kindOf(r); {
		case k == nil:
			j.ruleError(r, "", fmt.Errorf("it says nothing that can be judged"))
		case k.alone != nil:
			k.alone(j, r)
		case len(r.GetSelect().GetSignals()) > 0:
			j.signals(k, r)
		default:
			for _, t := range j.selected(k, r) {
				j.table(k, r, t)
			}
		}
	}
	for t, p := range j.pairs {
		if p.by != nil {
			j.out.JudgedBy[t.ID] = p.by
		}
	}
	return j.out, nil
}

// judge is the state of one run over all rules.
type judge struct {
	in      JudgeInput
	lay     *definition.Layout // the candidate's
	changed map[string]bool
	touched []*definition.Table // the changed tables
	wide    []*definition.Table // those and the ones with new ground on an axis
	out     *Judged
	faces   map[faceKey]*face // but those of pairs
	pairs   map[*definition.Table]*pair
	sets    map[whose]*signal.Set
	exprs   *evaluator
	meshes  map[[flat]*definition.Axis]*mesh // that surfaces were judged on, the last on some axes
	rows    []float64                        // scratch
	one     subject                          // under judgement: there are as many as rules times tables
	rules   int                              // how many there are
	units   *resolved                        // nil where the limits were not checked against the layout
	level   leveled
	room    room
}

// room is where much is kept of which there is one a table, or one a rule and table.
type room struct {
	pairs   arena.Of[pair]
	faces   arena.Of[face]
	by      arena.Of[string]
	margins arena.Of[calibrationv1.Margin]
	numbers arena.Of[float64]
}

// mostMeshes bounds what is kept of axes that few tables have.
const mostMeshes = 64

func newJudge(in JudgeInput) *judge {
	n := len(in.Changed)
	j := &judge{in: in, lay: in.Layout, out: &Judged{JudgedBy: make(map[string][]string, n), Through: map[string][]string{}, declared: map[string]bool{}},
		faces: map[faceKey]*face{}, pairs: make(map[*definition.Table]*pair, n), sets: map[whose]*signal.Set{}, meshes: map[[flat]*definition.Axis]*mesh{}}
	if in.CandidateLayout != nil {
		j.lay = in.CandidateLayout
	}
	return j
}

// wider are the changed tables and those with new ground on an axis, in definition order.
func (j *judge) wider() []*definition.Table {
	if len(j.in.NewGround) == 0 {
		return j.touched
	}
	return slices.DeleteFunc(slices.Clone(j.lay.Tables), func(t *definition.Table) bool {
		return !j.isChanged(t.ID) && !slices.ContainsFunc(j.in.NewGround, func(g NewGround) bool { return pairing(t, g.Quantity) >= 0 })
	})
}

// selected are the tables that a rule looks at, in definition order: the changed ones, those
// that it ties to a changed one, and those that are read where they were not.
func (j *judge) selected(k *kind, r *calibrationv1.Rule) []*definition.Table {
	tables := j.touched
	switch {
	case k.every || k.other != nil && j.isChanged(k.against(r)):
		tables = j.lay.Tables
	case k.where && !k.needsBase:
		tables = j.wide
	}
	if one := r.GetSelect(); len(one.GetTables())+len(one.GetExcept())+len(one.GetQuantity())+len(one.GetRole()) == 0 {
		return tables
	}
	var out []*definition.Table
	for _, t := range tables {
		if selects(r.GetSelect(), t) {
			out = append(out, t)
		}
	}
	return out
}

// isChanged says whether a table is among the changed ones.
func (j *judge) isChanged(id string) bool {
	if j.changed == nil {
		j.changed = make(map[string]bool, len(j.in.Changed))
		for _, id := range j.in.Changed {
			j.changed[id] = true
		}
	}
	return j.changed[id]
}

// lookedAt notes that a rule judged a table or a signal, once.
func (j *judge) lookedAt(r *calibrationv1.Rule, id string) {
	if t := j.lay.ByID[id]; t != nil {
		j.pairOf(t).lookedAt(r, &j.room.by, j.rules)
	} else if by := j.out.JudgedBy[id]; len(by) == 0 || by[len(by)-1] != r.GetId() {
		j.out.JudgedBy[id] = append(by, r.GetId())
	}
}

// lookedAt notes it of a table; of so many rules there are.
func (p *pair) lookedAt(r *calibrationv1.Rule, room *arena.Of[string], rules int) {
	if p.by == nil {
		p.by = room.Take(rules)[:0]
	}
	if n := len(p.by); n == 0 || p.by[n-1] != r.GetId() {
		p.by = append(p.by, r.GetId())
	}
}

// ruleError is the finding that a rule could not be evaluated.
func (j *judge) ruleError(r *calibrationv1.Rule, table string, err error) *calibrationv1.Finding {
	f := &calibrationv1.Finding{
		Rule: "rule-error", Severity: "danger", Table: table, Count: 1, Reason: AlwaysOn["rule-error"], Source: AlwaysOnSource,
		Detail: fmt.Sprintf("rule %s could not be evaluated: %v", r.GetId(), err),
	}
	j.out.Findings = append(j.out.Findings, f)
	return f
}

// known says why a table cannot be read.
func (j *judge) known(id string) error {
	if j.in.Unknown == nil {
		return nil
	}
	if why := j.in.Unknown(id); why != "" {
		return unjudged("%s", why)
	}
	return nil
}
