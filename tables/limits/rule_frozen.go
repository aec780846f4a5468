package limits

import (
	"fmt"
	"math"

	"witnessmark/tables/definition"
	"witnessmark/tables/surface"
)

var frozenKind = &kind{name: "frozen", judge: (*subject).frozen, labels: true, needsBase: true}

// frozen allows no difference at all: raw bits of the cells, and the breakpoints of stored axes.
// Each stored number that differs counts; a cell is the worst where one differs.
func (s *subject) frozen() error {
	c, b := s.cand, s.base
	if b == nil {
		return unjudged("the base has nothing to compare with")
	}
	if c.nx != b.nx || c.ny != b.ny || len(c.x) != len(b.x) || len(c.y) != len(b.y) {
		s.detail = fmt.Sprintf("the table has %d by %d cells, and had %d by %d", c.nx, c.ny, b.nx, b.ny)
		s.tally.add(place{}, verdict{fails: true, wordless: true}, nil)
		return nil
	}
	differ := differs(c.t, b.t)
	for i := range c.bits {
		if !differ(c, b, i) {
			continue
		}
		v := verdict{fails: true, wordless: c.values == nil || b.values == nil}
		if !v.wordless {
			v.value, v.limit = c.values[i], b.values[i]
			v.excess = distance(v.value, v.limit)
		} else if s.detail == "" {
			s.detail = fmt.Sprintf("%s, was %s", c.label(i), b.label(i))
		}
		s.tally.add(c.cellAt(i/c.nx, i%c.nx), v, nil)
	}
	s.frozenAxis("x", [2]*definition.Axis{c.t.X, b.t.X}, [2][]float64{c.x, b.x}, [2][]uint64{c.xBits, b.xBits})
	s.frozenAxis("y", [2]*definition.Axis{c.t.Y, b.t.Y}, [2][]float64{c.y, b.y}, [2][]uint64{c.yBits, b.yBits})
	return nil
}

// frozenAxis counts the breakpoints of one axis that moved, after all cells; each pair is the
// candidate's and the base's.
func (s *subject) frozenAxis(name string, axis [2]*definition.Axis, points [2][]float64, bits [2][]uint64) {
	raw := bits[0] != nil && bits[1] != nil && axis[0].Unit == axis[1].Unit && alikeCells(axis[0].Cells, axis[1].Cells)
	for i, now := range points[0] {
		was := points[1][i]
		if raw && bits[0][i] == bits[1][i] || !raw && math.Float64bits(now) == math.Float64bits(was) {
			continue
		}
		row, col := 0, i
		if name == "y" {
			row, col = i, 0
		}
		b := &s.tally.buckets[introduced]
		if b.count == 0 {
			b.at, b.worst = s.cand.cellAt(row, col), verdict{value: now, limit: was, excess: distance(now, was), fails: true}
			b.at.along = name
			s.detail = fmt.Sprintf("a breakpoint of the %s axis moved", name)
		}
		b.count++
	}
}

// label is what a cell of a label table is called, or its number.
func (f *face) label(i int) string {
	c := f.t.Cells
	if c.Conv.Labels == nil {
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
	return a.Unit == b.Unit && alikeCells(a.Cells, b.Cells)
}

// alikeCells says whether two blocks of cells turn equal bits into equal numbers.
func alikeCells(p, q *definition.Cells) bool {
	return p.Float == q.Float && p.Signed == q.Signed && p.Magnitude == q.Magnitude && p.Width == q.Width &&
		p.Conv.Rational == q.Conv.Rational && p.Conv.Factor == q.Conv.Factor && p.Conv.Offset == q.Conv.Offset &&
		p.Conv.Num == q.Conv.Num && p.Conv.Den == q.Conv.Den
}
