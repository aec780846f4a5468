package limits

import (
	"errors"
	"fmt"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/definition"
	"witnessmark/tables/surface"
)

var rangeKind = &kind{name: "range", parse: (*ruleCheck).bounds, fits: (*ruleCheck).rangeFits, judge: (*subject).inRange, where: true, ofSignal: (*sounding).inRange, bounds: (*bounding).inRange}

func (c *ruleCheck) bounds() error {
	r := c.rule.GetRange()
	if err := c.unit("range.unit", r.GetUnit()); err != nil {
		return err
	}
	switch {
	case r.Min == nil && r.Max == nil:
		return c.bad("range", "min, max or both", "neither min nor max is given")
	case r.Min != nil && r.Max != nil && r.GetMin() > r.GetMax():
		return c.bad("range.min", fmt.Sprintf("at most max, %v", r.GetMax()), "min %v is above max", r.GetMin())
	}
	return nil
}

func (c *ruleCheck) rangeFits(t *definition.Table) error {
	return c.level("range.unit", c.rule.GetRange().GetUnit(), t)
}

// inRange judges every cell against fixed bounds, each bound on its own: a cell that was too low and
// is now too high is a new fault. The base is its cell, or its surface there if breakpoints changed.
// Where the rule is confined it judges the surface, which may lie there without a cell.
func (s *subject) inRange() error {
	bounds, err := s.rangeBounds()
	if err != nil {
		return err
	}
	if s.only || s.where != [2]*stretch{} {
		return s.holdSurface(bounds...)
	}
	levels := levelsOf(bounds)
	if s.passesRange(levels) {
		return nil
	}
	before, ground := s.beforeCell(), s.hasGround()
	for row := range s.cand.ny {
		for col := range s.cand.nx {
			if s.tally.easyWithin(s.cand.values[row*s.cand.nx+col], levels) {
				continue
			}
			fresh := ground && s.fresh(s.cand.cellAt(row, col))
			if fresh && s.cand.curved {
				continue // judged with all that lies around it, below
			}
			if s.cand.isOff(row*s.cand.nx + col) {
				continue
			}
			v := s.cand.values[row*s.cand.nx+col]
			for i, r := range bounds {
				if i > 0 && !surface.Finite(v) {
					break // what is no number is beyond the first bound, and said once
				}
				s.hold(row, col, v, r.now, before, fresh)
			}
		}
	}
	if !ground {
		return nil
	}
	s.only, s.gaps = true, !s.cand.curved
	if err := s.holdSurface(bounds...); err != nil && !errors.As(err, new(errPassed)) {
		s.detail = "new ground between the cells could not be judged: " + err.Error()
	}
	return nil
}

// rangeBounds are the bounds in the table's unit.
func (s *subject) rangeBounds() ([]rival, error) {
	r := s.rule.GetRange()
	of := leveled{rule: s.rule, quantity: s.t.Quantity, unit: valueUnit(s.t)}
	if known := &s.level; known.rule == of.rule && known.quantity == of.quantity && known.unit == of.unit {
		return known.bounds, nil
	}
	unit, err := s.levels(of.quantity, r.GetUnit(), of.quantity, of.unit)
	if err != nil {
		return nil, err
	}
	if r.Max != nil {
		b := level(unit.of(*r.Max), true)
		of.bounds = append(of.bounds, rival{b, b})
	}
	if r.Min != nil {
		b := level(unit.of(*r.Min), false)
		of.bounds = append(of.bounds, rival{b, b})
	}
	s.level = of
	return of.bounds, nil
}

// leveled are the bounds of a range for tables of one quantity and unit.
type leveled struct {
	rule           *calibrationv1.Rule
	quantity, unit string
	bounds         []rival
}

// hold judges a cell's value by a level, keeps the margin, and asks of the base what that held only where it fails.
func (s *subject) hold(row, col int, v float64, by *bound, before func(row, col int) (float64, bool), fresh bool) {
	if s.tally.easy(v, by.shift, by.ceiling) {
		return
	}
	c := s.tally.judge(v, by.shift, by.ceiling)
	if s.tally.closer(&c) {
		s.tally.leave(s.cand.cellAt(row, col), c)
	}
	if !c.fails {
		return
	}
	p := s.cand.cellAt(row, col)
	if base, known := before(row, col); known && !fresh {
		b := s.tally.judge(base, by.shift, by.ceiling)
		s.tally.add(p, c, &b)
		return
	}
	s.tally.add(p, c, nil)
}

// beforeCell says what the base held where a cell of the candidate is: its own cell if the
// breakpoints are the same, else its surface there; by index where there is no surface.
func (s *subject) beforeCell() func(row, col int) (float64, bool) {
	c, b := s.cand, s.was()
	switch {
	case b == nil:
		return func(int, int) (float64, bool) { return 0, false }
	case !sameAxes(c, b) && surfaces(c, b) == nil:
		return func(row, col int) (float64, bool) {
			p, sd := c.cellAt(row, col), side{sideOf(c.x, col), sideOf(c.y, row)}
			return at(b.grid, p.x, p.y, sd), !b.lacksAt(p.x, p.y, sd)
		}
	}
	return b.cellOf
}

// cellOf is the cell of an index, where there is one.
func (f *face) cellOf(row, col int) (float64, bool) {
	if row >= f.ny || col >= f.nx || f.isOff(row*f.nx+col) {
		return 0, false
	}
	return f.values[row*f.nx+col], true
}

func (b *bounding) inRange() {
	bounds, err := b.rangeBounds()
	if err != nil {
		return
	}
	for i := range b.cand.values {
		for _, r := range bounds {
			b.cell(i, r.now.shift, r.now.ceiling)
		}
	}
}

// inRange is the same of a signal, wherever an operating point may be.
func (o *sounding) inRange() error {
	r := o.rule.GetRange()
	unit, err := levels(o.sig.Quantity, r.GetUnit(), o.sig.Quantity, o.sig.Unit)
	if err != nil {
		return err
	}
	var edges []edge
	if r.Max != nil {
		f := o.space.Number(unit.of(*r.Max))
		edges = append(edges, edge{now: f, was: f, ceiling: true})
	}
	if r.Min != nil {
		f := o.space.Number(unit.of(*r.Min))
		edges = append(edges, edge{now: f, was: f})
	}
	return o.holdAll(edges...)
}
