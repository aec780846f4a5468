package limits

import (
	"fmt"
	"math"
	"slices"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/definition"
	"witnessmark/tables/signal"
	"witnessmark/tables/surface"
)

var frozenKind = &kind{name: "frozen", judge: (*subject).frozen, labels: true, needsBase: true,
	blocks: func(*calibrationv1.Rule) bool { return true }}

// frozen allows no difference at all: raw bits of the cells, and the breakpoints of stored axes.
// Each stored number that differs counts; a cell is the worst where one differs.
func (s *subject) frozen() error {
	c, b := s.cand, s.was()
	if b == nil {
		return unjudged("the base has nothing to compare with")
	}
	if isText(c.t) || isText(b.t) {
		if c.d.Text != b.d.Text || isText(c.t) != isText(b.t) {
			s.detail = fmt.Sprintf("the text is %q, and was %q", c.d.Text, b.d.Text)
			s.tally.add(place{}, verdict{fails: true, wordless: true}, nil)
		}
		return nil
	}
	if now, was := c.sizes(), b.sizes(); now != was || len(c.x) != len(b.x) || len(c.y) != len(b.y) {
		s.detail = fmt.Sprintf("the table has %s cells, and had %s", now, was)
		s.tally.add(place{}, verdict{fails: true, wordless: true}, nil)
		return nil
	}
	differ := differs(c.t, b.t)
	for i := range c.bits {
		if !differ(c, b, i) {
			continue
		}
		v := verdict{fails: true, wordless: c.values == nil || b.values == nil || c.isOff(i) || b.isOff(i)}
		if !v.wordless {
			v.value, v.limit = c.values[i], b.values[i]
			v.excess = distance(v.value, v.limit)
		} else if s.detail == "" {
			s.detail = fmt.Sprintf("%s, was %s", c.label(i), b.label(i))
		}
		s.tally.add(c.cell(i), v, nil)
	}
	was := b.lines()
	for i, now := range c.lines() {
		s.frozenAxis(i, now, was[i])
	}
	return nil
}

// sizes are the numbers of cells along each axis, as text.
func (f *face) sizes() string {
	out := fmt.Sprintf("%d by %d", f.nx, f.ny)
	for _, points := range f.beyond {
		out += fmt.Sprintf(" by %d", len(points))
	}
	return out
}

// frozenAxis counts the breakpoints of an axis, by number, that moved, after all cells.
func (s *subject) frozenAxis(i int, now, was line) {
	bits := [2][]uint64{}
	if i < flat {
		bits = [2][]uint64{[flat][]uint64{s.cand.xBits, s.cand.yBits}[i], [flat][]uint64{s.was().xBits, s.was().yBits}[i]}
	}
	raw := bits[0] != nil && bits[1] != nil && now.axis.Unit == was.axis.Unit && alikeCells(now.axis.Cells, was.axis.Cells)
	for k, point := range now.points {
		before := was.points[k]
		if raw && bits[0][k] == bits[1][k] || !raw && math.Float64bits(point) == math.Float64bits(before) {
			continue
		}
		b := &s.tally.buckets[introduced]
		if b.count == 0 {
			b.at, b.worst = s.cand.breakpoint(i, k), verdict{value: point, limit: before, excess: distance(point, before), fails: true}
			b.at.along = now.name
			s.detail = fmt.Sprintf("a breakpoint of the %s axis moved", now.name)
		}
		b.count++
	}
}

// breakpoint is the first cell at a breakpoint of an axis, by number.
func (f *face) breakpoint(axis, k int) place {
	step := [flat]int{1, f.nx}
	if axis < flat {
		return f.cell(k * step[axis])
	}
	at := f.nx * f.ny
	for _, points := range f.beyond[:axis-flat] {
		at *= len(points)
	}
	return f.cell(k * at)
}

// label is what a cell of a label table is called, or its number.
func (f *face) label(i int) string {
	c := f.t.Cells
	switch {
	case f.isOff(i):
		return "raw " + c.Raw(f.bits[i]) + ", which is no value"
	case c.Conv.Labels == nil:
		return fmt.Sprintf("%v", f.values[i])
	}
	return c.Conv.Label(c.Int(f.bits[i]))
}

// distance is how far two values are apart; infinite where one is no number.
func distance(a, b float64) float64 {
	if !surface.Finite(a, b) {
		return math.Inf(1)
	}
	return math.Abs(a - b)
}

// differs compares raw bits where they mean the same on both sides, else what they stand for, to
// half the coarser raw step.
func differs(c, b *definition.Table) func(c, b *face, i int) bool {
	if c.Cells.Conv.Labels != nil || b.Cells.Conv.Labels != nil || sameMeaning(c, b) {
		return func(c, b *face, i int) bool { return c.bits[i] != b.bits[i] }
	}
	half := max(c.Cells.Conv.Step(), b.Cells.Conv.Step()) / 2
	return func(c, b *face, i int) bool { return distance(c.values[i], b.values[i]) > half }
}

// sameMeaning says whether equal bits are equal values.
func sameMeaning(a, b *definition.Table) bool {
	return valueUnit(a) == valueUnit(b) && alikeCells(a.Cells, b.Cells)
}

// alikeCells says whether two blocks of cells turn equal bits into equal numbers.
func alikeCells(p, q *definition.Cells) bool {
	return p.Float == q.Float && p.Signed == q.Signed && p.Magnitude == q.Magnitude && p.Width == q.Width &&
		p.Conv.Rational == q.Conv.Rational && p.Conv.Factor == q.Conv.Factor && p.Conv.Offset == q.Conv.Offset &&
		p.Conv.Num == q.Conv.Num && p.Conv.Den == q.Conv.Den && signal.SamePoints(p.Conv.Points, q.Conv.Points) && slices.Equal(p.NotAValue, q.NotAValue)
}
