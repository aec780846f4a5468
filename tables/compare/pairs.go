package compare

import (
	"cmp"
	"fmt"
	"math"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/definition"
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
		case s.unknown[id] != "" && len(s.cand.holes.table(c)) == 0: // it leads outside
			s.leadsOutside(c)
			s.unknownChange(c)
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
	c := &change{id: id, candTable: t, incomparable: why, is: s.cand.reading(t)}
	c.cells, c.axes = s.pairs.wholeOf(&c.is)
	s.keep(c)
}

func (s *session) pair(id string, b, t *definition.Table) {
	base, cand := s.base.table(id), s.cand.table(id)
	why := unlike(b, t)
	switch {
	case why != "":
	case base == nil:
		why = "it cannot be compared with the base, which " + s.base.lacks(b)
	default:
		base, why = inUnitsOf(base, cand, s.in.Base.Bytes)
	}
	if why != "" {
		s.keepWhole(id, t, why)
	} else if c := s.pairs.between(read(base), s.cand.reading(t)); !c.unchanged() {
		s.keep(c)
	}
}

// unlike says why two tables of one id cannot be compared; empty if they can.
func unlike(b, c *definition.Table) string {
	switch {
	case b.Kind != c.Kind:
		return fmt.Sprintf("it is a %s in the base's definition and a %s in the candidate's", b.Kind, c.Kind)
	case b.Quantity != c.Quantity:
		return fmt.Sprintf("it is %s in the base's definition and %s in the candidate's", b.Quantity, c.Quantity)
	case b.Kind == textKind:
		return ""
	case (b.Cells.Conv.Labels == nil) != (c.Cells.Conv.Labels == nil):
		return "it holds labels in one definition and numbers in the other"
	case len(b.Axes) != len(c.Axes):
		return fmt.Sprintf("it has %d axes in the base's definition and %d in the candidate's", len(b.Axes), len(c.Axes))
	}
	for k, a := range c.Axes {
		was := b.Axes[k]
		switch {
		case was.Quantity != a.Quantity:
			return fmt.Sprintf("an axis is %s in the base's definition and %s in the candidate's", orNone(was.Quantity), orNone(a.Quantity))
		case (was.Labels == nil) != (a.Labels == nil):
			return "an axis has names in one definition and numbers in the other"
		}
	}
	return ""
}

func orNone(quantity string) string {
	return cmp.Or(quantity, "of no quantity")
}

// differs is by raw bits; of two definitions by label, or by more than half the coarser raw step. Codes that are no value are
// one between two definitions, whatever each has for them.
func (c *change) differs(was, is int) bool {
	b, v := c.base().Bits[was], c.cand().Bits[is]
	if c.one {
		return b != v
	}
	bc, vc := c.baseTable.Cells, c.candTable.Cells
	if was, is := isOff(c.base(), was), isOff(c.cand(), is); was || is {
		return was != is
	}
	if bc.Conv.Labels != nil {
		return bc.Conv.Label(bc.Int(b)) != vc.Conv.Label(vc.Int(v))
	}
	p, q := bc.Conv.Apply(bc.Number(b)), vc.Conv.Apply(vc.Number(v))
	half := max(bentHalf(bc, b), bentHalf(vc, v))
	return !near(p, q, max(halfStep(bc, vc, p, q), half))
}

// bentHalf is half of how far one raw step moves a value that bends here; 0 for other conversions.
func bentHalf(c *definition.Cells, bits uint64) float64 {
	if !bends(c) || c.Float {
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
