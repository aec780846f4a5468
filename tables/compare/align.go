package compare

import (
	"fmt"
	"math"
	"slices"

	"github.com/sergi/go-diff/diffmatchpatch"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/definition"
	"witnessmark/tables/surface"
)

// pairTables compares two definitions' tables by id. Addresses mean nothing between them, so bytes
// are not accounted for, and there are no unmapped ones.
func (s *session) pairTables() {
	for _, id := range s.ids() {
		b, c := s.lay.ByID[id], s.candLay.ByID[id]
		const fresh = "only the candidate's definition has this table"
		switch {
		case c == nil:
			s.alone(id, "only the base's definition has this table")
		case s.unknown[id] != "" && b == nil:
			s.keep(&change{id: id, candTable: c, incomparable: fresh + ", and " + s.unknown[id]})
		case s.unknown[id] != "":
		case b == nil:
			s.keepWhole(id, c, fresh)
		default:
			s.pair(id, b, c)
		}
	}
}

func (s *session) alone(id, why string) {
	s.report.Unjudged = append(s.report.Unjudged, &calibrationv1.Unjudged{Table: id, Reason: why})
}

// keepWhole reports a table that cannot be compared: nothing says which cells stand, so all of them
// count as changed, and the limits judge it as if there had been none before.
func (s *session) keepWhole(id string, t *definition.Table, why string) {
	s.alone(id, why)
	c := &change{id: id, candTable: t, incomparable: why, cand: s.candOf(id),
		movedXPoints: storedPoints(t.X), movedYPts: storedPoints(t.Y)}
	for i := range c.cand.Bits {
		c.cells = append(c.cells, cell{row: i / c.cand.NX, col: i % c.cand.NX})
	}
	s.keep(c)
}

func (s *session) pair(id string, b, t *definition.Table) {
	why := unlike(b, t)
	if why == "" {
		b, why = inUnitsOf(b, t)
	}
	if why != "" {
		s.keepWhole(id, t, why)
		return
	}
	base := s.baseOf(id)
	if b != s.lay.ByID[id] {
		base = surface.Decode(b, s.in.Base.Bytes)
	}
	c, onlyX, onlyY := aligned(id, base, s.candOf(id))
	if c.unchanged() {
		return
	}
	s.keep(c)
	if len(onlyX)+len(onlyY) > 0 {
		c.report.Alignment = &calibrationv1.Alignment{X: onlyX, Y: onlyY}
	}
}

// unlike says why two tables of one id cannot be compared; empty if they can.
func unlike(b, c *definition.Table) string {
	switch {
	case b.Kind != c.Kind:
		return fmt.Sprintf("it is a %s in the base's definition and a %s in the candidate's", b.Kind, c.Kind)
	case b.Quantity != c.Quantity:
		return fmt.Sprintf("it is %s in the base's definition and %s in the candidate's", b.Quantity, c.Quantity)
	case (b.Cells.Conv.Labels == nil) != (c.Cells.Conv.Labels == nil):
		return "it holds labels in one definition and numbers in the other"
	}
	for _, a := range [][2]*definition.Axis{{b.X, c.X}, {b.Y, c.Y}} {
		if a[0] != nil && a[0].Quantity != a[1].Quantity {
			return fmt.Sprintf("an axis is %s in the base's definition and %s in the candidate's", a[0].Quantity, a[1].Quantity)
		}
	}
	return ""
}

// differs is by label, or by more than half the coarser raw step.
func (c *change) differs(at cell) bool {
	b, v := c.bits(at)
	bc, vc := c.baseTable.Cells, c.candTable.Cells
	if bc.Conv.Labels != nil {
		return bc.Conv.Label(bc.Int(b)) != vc.Conv.Label(vc.Int(v))
	}
	p, q := bc.Conv.Apply(bc.Number(b)), vc.Conv.Apply(vc.Number(v))
	half := max(rationalHalf(bc, b), rationalHalf(vc, v))
	return !near(p, q, max(halfStep(bc, vc, p, q), half))
}

// rationalHalf is half of how far one raw step moves a rational value here; 0 for other conversions.
func rationalHalf(c *definition.Cells, bits uint64) float64 {
	if !c.Conv.Rational || c.Float {
		return 0
	}
	raw := c.Number(bits)
	here, step := c.Conv.Apply(raw), math.Inf(1)
	for _, next := range []float64{raw - 1, raw + 1} {
		if d := math.Abs(c.Conv.Apply(next) - here); !math.IsNaN(d) {
			step = min(step, d)
		}
	}
	if math.IsInf(step, 1) {
		return 0
	}
	return step / 2
}

// pointsAlike says whether two breakpoints are one, to half the coarser raw step of their axes.
func pointsAlike(a, b *definition.Axis, p, q float64) bool {
	tolerance := 1e-9 * max(math.Abs(p), math.Abs(q))
	for _, axis := range []*definition.Axis{a, b} {
		if axis.Cells == nil {
			continue
		}
		tolerance = max(tolerance, rounding(axis.Cells, p, q))
		tolerance = max(tolerance, wholeStep(axis.Cells)/2)
	}
	return near(p, q, tolerance)
}

// moved says whether the breakpoints of an axis differ, and which of the candidate's by index.
func moved(a, b *definition.Axis, base, cand []float64) (bool, []int) {
	var at []int
	for i, p := range cand {
		if i >= len(base) || !pointsAlike(a, b, base[i], p) {
			at = append(at, i)
		}
	}
	return len(at) > 0 || len(base) != len(cand), at
}

// align pairs breakpoints as (base index, candidate index): by index where their count is the same,
// otherwise as sequences, and then lists those on one side only.
func align(a, b *definition.Axis, base, cand []float64, n int) (pairs [][2]int, only []*calibrationv1.AlignedIndex) {
	if len(base) == len(cand) { // n is 1 where there is no such axis
		for i := range n {
			pairs = append(pairs, [2]int{i, i})
		}
		return pairs, nil
	}
	left, right := runes(a, b, base, cand)
	i, j := 0, 0
	for _, d := range sequences(left, right) {
		for range []rune(d.Text) {
			switch d.Type {
			case diffmatchpatch.DiffEqual:
				pairs = append(pairs, [2]int{i, j})
				i, j = i+1, j+1
			case diffmatchpatch.DiffDelete:
				only = append(only, &calibrationv1.AlignedIndex{Side: "base", Index: uint32(i), Point: base[i]})
				i++
			case diffmatchpatch.DiffInsert:
				only = append(only, &calibrationv1.AlignedIndex{Side: "candidate", Index: uint32(j), Point: cand[j]})
				j++
			}
		}
	}
	return pairs, only
}

// sequences aligns two; beyond mostAligned they count as having nothing in common.
func sequences(left, right []rune) []diffmatchpatch.Diff {
	if len(left) > mostAligned || len(right) > mostAligned {
		return []diffmatchpatch.Diff{
			{Type: diffmatchpatch.DiffDelete, Text: string(left)},
			{Type: diffmatchpatch.DiffInsert, Text: string(right)},
		}
	}
	dmp := diffmatchpatch.New()
	dmp.DiffTimeout = 0 // a deadline would make the answer depend on the machine
	return dmp.DiffMainRunes(left, right, false)
}

// mostAligned is how many breakpoints are aligned as sequences: without a deadline the work grows with
// their square, and no axis that a person reads is as long.
const mostAligned = 4096

// firstRune is where breakpoints begin as runes: below it lie the surrogates, which turn into U+FFFD.
const firstRune = 0xE000

// runes gives breakpoints that are alike one rune, and all others another one.
func runes(a, b *definition.Axis, base, cand []float64) (left, right []rune) {
	all := append(slices.Clone(base), cand...)
	slices.Sort(all) // NaN first
	var heads []float64
	for _, p := range all {
		if len(heads) == 0 || !pointsAlike(a, b, heads[len(heads)-1], p) {
			heads = append(heads, p)
		}
	}
	to := func(points []float64) []rune {
		out := make([]rune, len(points))
		for i, p := range points {
			k, _ := slices.BinarySearchFunc(heads, p, func(h, p float64) int {
				switch {
				case pointsAlike(a, b, h, p):
					return 0
				case math.IsNaN(h) || h < p:
					return -1
				}
				return 1
			})
			out[i] = firstRune + rune(k)
			if out[i] >= 0xFFFD { // U+FFFD is what anything unreadable becomes
				out[i]++
			}
		}
		return out
	}
	return to(base), to(cand)
}
