package limits

import (
	"fmt"
	"strings"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/definition"
	"witnessmark/tables/surface"
)

// subject is one table, or one signal, under one rule.
type subject struct {
	*judge
	kind       *kind
	rule       *calibrationv1.Rule
	t          *definition.Table  // nil for a signal
	sig        *definition.Signal // nil for a table
	unit       string
	both       *pair
	cand, base *face // base once it was asked for
	asked      bool
	region
	tally  tally
	looked int // how much was judged, where the rule counts it
	detail string
	undone error // of some slices of a block, why they were not judged

	codes, codesOf int // stretches that touch cells which are no value, and such cells of the table that this one is held against

	undecided int     // cells that bounded judgement could not decide
	atMost    float64 // beyond the limit there
}

// errUnjudged is why a rule could not look at a table.
type errUnjudged struct{ why string }

func (e errUnjudged) Error() string { return e.why }

func unjudged(format string, args ...any) error { return errUnjudged{fmt.Sprintf(format, args...)} }

// errPassed is why a rule has nothing to look at in a table, and does not claim to have looked.
type errPassed struct{ why string }

func (e errPassed) Error() string { return e.why }

// table judges one table by one rule and writes down what came of it.
func (j *judge) table(k *kind, r *calibrationv1.Rule, t *definition.Table) {
	if k.needsRun && j.in.Run == nil || k.needsBase && j.in.Check {
		return
	}
	s := &j.one
	*s = subject{judge: j, kind: k, rule: r, t: t, unit: t.Unit}
	err := s.read()
	switch {
	case err != nil:
	case len(s.cand.d.Slices) > 0 && (k.blocks == nil || !k.blocks(r)):
		err = s.eachSlice()
	default:
		err = s.judgeFace()
	}
	s.write(err)
}

// judgeFace judges a table, or one slice of a block.
func (s *subject) judgeFace() error {
	if s.cand.empty() && s.cand.values != nil && s.kind.judgesValues(s.rule) {
		return errPassed{"all of its cells hold codes that are no value"}
	}
	return s.kind.judge(s)
}

// id is the table's or the signal's.
func (s *subject) id() (table, signal string) {
	if s.t != nil {
		return s.t.ID, ""
	}
	return "", s.sig.ID
}

// write notes what came of it.
func (s *subject) write(err error) {
	table, sig := s.id()
	why := func(err error) {
		text := strings.TrimPrefix(err.Error(), "table "+table+": ")
		s.out.Unjudged = append(s.out.Unjudged, &calibrationv1.Unjudged{Rule: s.rule.GetId(), Table: table, Signal: sig, Reason: text})
	}
	over := s.passedOver()
	if _, passed := err.(errPassed); passed && over != nil {
		err = over
	}
	switch e := err.(type) {
	case nil:
		for _, err := range []error{s.undone, over} {
			if err != nil {
				why(err)
			}
		}
		if s.both != nil {
			s.both.lookedAt(s.rule, &s.room.by, s.rules)
		} else {
			s.lookedAt(s.rule, table+sig)
		}
		s.out.Findings = append(s.out.Findings, s.findings()...)
		if m := s.margin(); m != nil {
			s.out.Margins = append(s.out.Margins, m)
		}
	case errUnjudged:
		why(e)
	case errPassed:
		s.out.Passed = append(s.out.Passed, &calibrationv1.Unjudged{Rule: s.rule.GetId(), Table: table, Signal: sig, Reason: e.why})
	default:
		f := s.ruleError(s.rule, table, err)
		f.Signal = sig
	}
}

// was is the base's table; nil where there is none, or where it says nothing about this table.
func (s *subject) was() *face {
	if s.asked {
		return s.base
	}
	s.asked = true
	detail := ""
	if s.base, detail = s.baseOf(s.t, s.both); s.base != nil && s.base.values == nil && s.cand.values != nil && !s.kind.labels {
		s.base, detail = nil, "the base could not be judged: it holds labels"
	}
	if s.detail == "" {
		s.detail = detail
	}
	return s.base
}

// mayBend says that the base may curve between its breakpoints though the candidate does not.
func (s *subject) mayBend() bool {
	conv := &s.t.Cells.Conv
	return s.in.CandidateLayout != nil || conv.Rational || conv.Points != nil
}

// pair is a table of both images, in the candidate's units: base is nil where there is none.
type pair struct {
	d          *surface.Decoded // the candidate's; nil where there is none
	cand, base *face
	read       bool
	asked      bool // for the base: most of what passes passes without it
	err        error
	detail     string   // why the base could not be judged
	slices     []pair   // of a block, once they were asked for
	by         []string // rules that looked at the table
}

// baseOf is the base of a pair, and why it could not be judged, read once.
func (j *judge) baseOf(t *definition.Table, p *pair) (base *face, detail string) {
	if !p.asked {
		p.asked = true
		var d *surface.Decoded
		if j.in.Base != nil {
			d = j.in.Base(t.ID)
		}
		if d == nil {
			return nil, ""
		}
		var err error
		if p.base, err = j.newFace(d, keyOf(ofBase, t.ID, t)); err != nil {
			p.base, p.detail = nil, fmt.Sprintf("the base could not be judged: %v", err)
		}
	}
	return p.base, p.detail
}

// pairOf is the pair of a table, read or not.
func (j *judge) pairOf(t *definition.Table) *pair {
	p := j.pairs[t]
	if p == nil {
		p = j.room.pairs.One()
		j.pairs[t] = p
	}
	return p
}

// pair is read once for all rules.
func (j *judge) pair(t *definition.Table) *pair {
	p := j.pairOf(t)
	if p.read {
		return p
	}
	p.read = true
	if p.d = j.in.Candidate(t.ID); p.d == nil {
		return p
	}
	p.cand, p.err = j.newFace(p.d, keyOf(ofCandidate, t.ID, t))
	return p
}

// read reads the table out of both images.
func (s *subject) read() error {
	t, k := s.t, s.kind
	if err := s.known(t.ID); err != nil {
		return err
	}
	both := s.pair(t)
	if both.d == nil {
		return unjudged("the candidate lacks the table")
	}
	if k.axesAlone != nil && k.axesAlone(s.rule) && t.X == nil && t.Y == nil {
		return errPassed{"it has no axes"}
	}
	switch {
	case both.d.Astray != nil:
		return unjudged("%v", both.d.Astray)
	case isText(t) && k != frozenKind:
		return unjudged("the table is a text, which only frozen judges")
	case both.d.Values == nil && !k.labels:
		return unjudged("the table holds labels, which only frozen and expression judge")
	}
	if both.err != nil {
		return both.err
	}
	s.both, s.cand = both, both.cand
	s.tally = tally{check: s.in.Check}
	if !isText(t) {
		s.tally.relative, s.tally.step = t.Cells.Relative(), t.Cells.Conv.Step()
	}
	return s.confine()
}
