package limits

import (
	"fmt"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/definition"
	"witnessmark/tables/surface"
)

// The two kinds that hold a table against another one.
var (
	belowKind = &kind{name: "below", parse: (*ruleCheck).against, once: (*ruleCheck).otherThere, fits: (*ruleCheck).againstFits, judge: (*subject).against, where: true, other: (*calibrationv1.Rule).GetBelow}
	aboveKind = &kind{name: "above", parse: (*ruleCheck).against, once: (*ruleCheck).otherThere, fits: (*ruleCheck).againstFits, judge: (*subject).against, where: true, other: (*calibrationv1.Rule).GetAbove}
)

func (c *ruleCheck) against() error {
	r := c.kind.other(c.rule)
	if r.GetTable() == "" {
		return c.bad(c.kind.name+".table", "the id of a table", "the other table is missing")
	}
	if r.GetMargin() != 0 {
		return c.unit(c.kind.name+".unit", r.GetUnit())
	}
	return nil
}

// otherThere asks that the definition has the other table.
func (c *ruleCheck) otherThere() error {
	if id := c.kind.other(c.rule).GetTable(); c.lay.ByID[id] == nil {
		return c.bad(c.kind.name+".table", c.lay.TableIDs(), "definition %s has no table %.60q", c.lay.Name, id)
	}
	return nil
}

// againstFits asks that two tables can be held against each other. An axis that only the
// other one has is taken at its worst, so that axes need not be the same; those of one
// quantity must convert.
func (c *ruleCheck) againstFits(t *definition.Table) error {
	a, field := c.kind.other(c.rule), c.kind.name
	other := c.lay.ByID[a.GetTable()]
	if other == t {
		return c.cannot(t, "another table", "cannot be held against itself")
	}
	if other.Cells.Conv.Labels != nil {
		return c.bad(field+".table", "a table of numbers", "table %q holds labels", other.ID)
	}
	if t.Quantity != other.Quantity {
		return c.bad(field+".table", "two tables of one quantity", "table %q is of quantity %q, and table %q of %q", t.ID, t.Quantity, other.ID, other.Quantity)
	}
	if err := c.convert(field+".table", other.Quantity, other.Unit, t.Quantity, t.Unit, fmt.Sprintf("tables %q and %q", other.ID, t.ID)); err != nil {
		return err
	}
	if a.GetUnit() != "" {
		if err := c.differenceOf(field+".unit", a.GetUnit(), t); err != nil {
			return err
		}
	}
	for _, own := range axesOf(t) {
		if own == nil {
			continue
		}
		theirs := axisFor(other, own.Quantity)
		if theirs == nil {
			continue
		}
		if err := c.convert(field+".table", theirs.Quantity, theirs.Unit, own.Quantity, own.Unit,
			fmt.Sprintf("axis %q of table %q and axis %q of table %q", theirs.ID, other.ID, own.ID, t.ID)); err != nil {
			return err
		}
	}
	return nil
}

// against keeps the whole surface below, or above, another table's, on the breakpoints of both.
// A rule that selects by quantity may pick that other table too, which nobody means to hold against itself.
func (s *subject) against() error {
	id := s.kind.other(s.rule).GetTable()
	if id == s.t.ID {
		return errPassed{"it is the table that others are held against"}
	}
	now, err := s.boundOf(ofCandidate)
	if err != nil {
		return err
	}
	was, err := s.boundOf(ofBase)
	if err != nil {
		s.detail = "the base could not be judged: " + err.Error()
	}
	if err := s.holdSurface(rival{now, was}); err != nil {
		return err
	}
	s.lookedAt(s.rule, id)
	return nil
}

// boundOf is the other table of one image as a limit, in this table's units; nil without an error
// where the base has none.
func (s *subject) boundOf(of whose) (*bound, error) {
	a := s.kind.other(s.rule)
	shift, err := spans(a.GetUnit(), s.t.Unit)
	if err != nil {
		return nil, err
	}
	b := &bound{to: [2]int{-1, -1}, ceiling: s.kind.name == "below", shift: shift * a.GetMargin()}
	if b.ceiling {
		b.shift = -b.shift
	}
	if err := s.known(a.GetTable()); err != nil {
		return nil, err
	}
	var other *surface.Decoded
	if read := s.tables(of); read != nil {
		other = read(a.GetTable())
	}
	if other == nil {
		if of == ofBase {
			return nil, nil
		}
		return nil, unjudged("the candidate lacks table %s", a.GetTable())
	}
	// A stand-in says in which units the other table is wanted: an axis keeps its own where this
	// table has none of that quantity.
	want := &definition.Table{Quantity: s.t.Quantity, Unit: s.t.Unit}
	for i, axis := range axesOf(other.Table) {
		if axis == nil {
			continue
		}
		b.to[i], b.index[i] = pairing(s.t, axis.Quantity), axis.Index
		unit := axis.Unit
		if b.to[i] >= 0 {
			unit = axesOf(s.t)[b.to[i]].Unit
		}
		*[]**definition.Axis{&want.X, &want.Y}[i] = &definition.Axis{Unit: unit}
	}
	f, err := s.face(of, a.GetTable(), want)
	if err != nil {
		return nil, err
	}
	if f.err != nil {
		return nil, f.err
	}
	b.grid = &surface.Grid{X: f.grid.X, Y: f.grid.Y, Values: f.grid.Values, Convert: f.grid.Convert}
	b.of, b.curved = other, f.curved
	return b, s.freeAxes(b, other.Table)
}

// freeAxes takes the axes that only the other table has at their worst, inside where.
func (s *subject) freeAxes(b *bound, other *definition.Table) error {
	for i, points := range [2][]float64{b.grid.X, b.grid.Y} {
		axis := axesOf(other)[i]
		if axis == nil || b.to[i] >= 0 {
			continue
		}
		r := rail{index: axis.Index}
		r.add(points)
		if w := s.rule.GetWhere()[axis.Quantity]; w != nil {
			var err error
			if r.where, err = stretchIn(axis.Quantity, w, axis.Unit); err != nil {
				return err
			}
			r.where.from, r.where.to = snap(r.where.from, points), snap(r.where.to, points)
			r.ends = r.where.ends()
		}
		if b.free[i] = r.stops(); len(b.free[i]) == 0 {
			return errPassed{"table " + other.ID + " has no point where the rule holds"}
		}
	}
	return nil
}
