package limits

import (
	"math"
	"strings"

	"google.golang.org/protobuf/proto"

	"witnessmark/tables/definition"
	"witnessmark/tables/formula"
	"witnessmark/tables/signal"
	"witnessmark/tables/surface"
)

var changeKind = &kind{name: "change", parse: (*ruleCheck).change, fits: (*ruleCheck).changeFits, judge: (*subject).changeWithin, where: true, ofSignal: (*sounding).changeWithin, needsBase: true}

func (c *ruleCheck) change() error {
	r := c.rule.GetChange()
	if r.GetPercent() {
		if r.GetUnit() != "" && r.GetUnit() != "%" {
			return c.bad("change.unit", "no unit, or %", "the bounds are per cent, not %s", r.GetUnit())
		}
	} else if err := c.unit("change.unit", r.GetUnit()); err != nil {
		return err
	}
	if r.GetSince() != "" {
		if err := c.word("change.since", r.GetSince(), "as-found"); err != nil {
			return err
		}
	}
	if r.MaxUp == nil && r.MaxDown == nil {
		return c.bad("change", "max_up, max_down or both", "neither max_up nor max_down is given")
	}
	if r.MaxUp != nil {
		if err := c.atLeastZero("change.max_up", r.MaxUp); err != nil {
			return err
		}
	}
	if r.MaxDown != nil {
		return c.atLeastZero("change.max_down", r.MaxDown)
	}
	return nil
}

func (c *ruleCheck) changeFits(t *definition.Table) error {
	if c.rule.GetChange().GetPercent() {
		return nil
	}
	return c.differenceOf("change.unit", c.rule.GetChange().GetUnit(), t)
}

// changeWithin judges how far each cell moved from the base, or from the table as found; where
// breakpoints changed, or the rule is confined, how far the surface did.
func (s *subject) changeWithin() error {
	from, was, err := s.moved()
	if err != nil {
		return err
	}
	percent, up, down, err := s.steps()
	if err != nil {
		return err
	}
	if !sameAxes(s.cand, from) || s.where != [2]*stretch{} {
		if err := surfaces(s.cand, from); err != nil {
			return err
		}
		return s.changeOfSurface(from, was, percent, up, down)
	}
	before := func(int, int) (float64, bool) { return 0, false }
	if was != nil {
		before = s.beforeCell()
	}
	for i, v := range s.cand.values {
		b := from.values[i]
		if s.cand.isOff(i) || from.isOff(i) {
			continue // switched off or on, which is no change of a value
		}
		if b == v || math.IsNaN(b) && math.IsNaN(v) {
			continue
		}
		per := 1.0
		if percent {
			per = max(math.Abs(b), s.t.Cells.Conv.Step())
		}
		row, col := i/s.cand.nx, i%s.cand.nx
		p := s.cand.cellAt(row, col)
		past, known := before(row, col)
		s.step(p, v, b, up, per, past, known, true)
		// What is no number is beyond the first bound, and said once.
		if up == nil || surface.Finite(b, v) {
			s.step(p, v, b, down, per, past, known, false)
		}
	}
	return nil
}

// moved is what the change is measured from, and the base where a finding may be older than the change.
func (s *subject) moved() (from, was *face, err error) {
	if s.rule.GetChange().GetSince() == "" {
		if s.was() == nil {
			return nil, nil, unjudged("the base has nothing to compare with")
		}
		return s.was(), nil, nil
	}
	if s.in.AsFound == nil {
		return nil, nil, unjudged("the image as found was not given")
	}
	if from, err = s.face(ofAsFound, s.t.ID, s.t); err != nil {
		return nil, nil, unjudged("the table as found: %v", err)
	}
	if from == nil || from.values == nil {
		return nil, nil, unjudged("the image as found has nothing to compare with")
	}
	return from, s.was(), nil
}

// steps are the bounds in the table's unit, or as a share of what was there; nil for none.
func (s *subject) steps() (percent bool, up, down *float64, err error) {
	c := s.rule.GetChange()
	factor := 0.01
	if percent = c.GetPercent(); !percent {
		unit := s.unit
		if s.t != nil {
			unit = valueUnit(s.t)
		}
		if factor, err = spans(c.GetUnit(), unit); err != nil {
			return false, nil, nil, err
		}
	}
	if c.MaxUp != nil {
		up = proto.Float64(*c.MaxUp * factor)
	}
	if c.MaxDown != nil {
		down = proto.Float64(*c.MaxDown * factor)
	}
	return percent, up, down, nil
}

// step judges one cell by one bound; nil is none.
func (s *subject) step(p place, v, from float64, most *float64, per, past float64, known, ceiling bool) {
	if most == nil {
		return
	}
	limit := from + float64(*most*per)
	if !ceiling {
		limit = from - float64(*most*per)
	}
	if !known {
		s.tally.add(p, s.tally.judge(v, limit, ceiling), nil)
		return
	}
	b := s.tally.judge(past, limit, ceiling)
	s.tally.add(p, s.tally.judge(v, limit, ceiling), &b)
}

// changeOfSurface holds the surface against the other one, moved up and down.
func (s *subject) changeOfSurface(from, was *face, percent bool, up, down *float64) error {
	var bounds []rival
	for _, most := range []*float64{up, down} {
		if most == nil {
			continue
		}
		grid := *from.grid
		b := &bound{grid: &grid, of: from.d, curved: from.curved, to: [2]int{-1, -1}, still: true, ceiling: most == up}
		for i, a := range axesOf(s.t) {
			if a != nil {
				b.to[i], b.index[i] = i, a.Index
			}
		}
		if from.codes != nil {
			codes := *from.codes
			b.codes = []*surface.Grid{&codes}
		}
		by := *most
		if !b.ceiling {
			by = -by
		}
		if percent {
			b.share, b.least = by, s.t.Cells.Conv.Step()
		} else {
			b.shift = by
		}
		r := rival{now: b}
		if was != nil {
			r.was = b
		}
		bounds = append(bounds, r)
	}
	return s.holdSurface(bounds...)
}

// changeWithin compares both images at the same inputs.
func (o *sounding) changeWithin() error {
	if q := o.fitted(o.sig.Inputs); q != "" {
		return unjudged("another sensor of %s is fitted: the same reading is not the same %s", spaced(q), spaced(o.sig.Quantity))
	}
	c, from := o.rule.GetChange(), o.was
	if from == nil {
		return unjudged("the base has nothing to compare with")
	}
	since := c.GetSince() != ""
	if since {
		if o.in.AsFound == nil {
			return unjudged("the image as found was not given")
		}
		var err error
		if from, err = o.signalOf(ofAsFound); err != nil {
			return unjudged("the signal as found: %v", err)
		}
	}
	percent, up, down, err := o.steps()
	if err != nil {
		return err
	}
	var edges []edge
	for _, most := range []*float64{up, down} {
		if most == nil {
			continue
		}
		e := edge{ceiling: most == up, still: true}
		by := math.Copysign(*most, map[bool]float64{true: 1, false: -1}[e.ceiling])
		add := o.space.Number(by)
		if percent {
			size := signal.Apply(formula.Max, from, signal.Apply(formula.Neg, from), o.space.Number(o.tally.step))
			add = signal.Apply(formula.Mul, size, o.space.Number(by))
		}
		e.less = signal.Apply(formula.Sub, signal.Minus(o.now, from), add)
		if e.now = signal.Apply(formula.Add, from, add); since {
			e.was = e.now
		}
		edges = append(edges, e)
	}
	return o.holdAll(edges...)
}

func spaced(quantity string) string { return strings.ReplaceAll(quantity, "_", " ") }
