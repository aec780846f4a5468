package limits

import (
	"maps"
	"slices"
)

// reached is new ground on one axis; old is the end up to which the engine came before.
type reached struct {
	stretch
	old float64
}

func (g *reached) snap(points []float64) {
	g.from, g.to, g.old = snap(g.from, points), snap(g.to, points), snap(g.old, points)
}

// cell says whether a breakpoint lies beyond the old reach, and pair whether what lies between two does.
func (g reached) cell(v float64) bool { return g.holds(v) && v != g.old }

func (g reached) pair(a, b float64) bool {
	return g.meets(a, b) && (g.old == g.from && max(a, b) > g.from || g.old == g.to && min(a, b) < g.to)
}

// region is where a rule holds on a table's axes x and y, and what of that is new ground.
type region struct {
	where  [2]*stretch
	ground [2][]reached
	only   bool // nothing but new ground is judged
	gaps   bool // and of that, no cell

	outer       []*stretch // likewise of a block's axes beyond y
	outerGround [][]reached
	whole       bool // all of the slice is new ground
}

// stretchOf and groundOf are those of an axis by number.
func (r *region) stretchOf(i int) **stretch {
	if i < flat {
		return &r.where[i]
	}
	return &r.outer[i-flat]
}

func (r *region) groundOf(i int) *[]reached {
	if i < flat {
		return &r.ground[i]
	}
	return &r.outerGround[i-flat]
}

// hasGround says whether some of it is new.
func (r *region) hasGround() bool { return r.whole || len(r.ground[0])+len(r.ground[1]) > 0 }

// confine finds out where the rule holds on the table.
func (s *subject) confine() error {
	n := len(beyondY(s.t))
	if n > 0 {
		s.outer, s.outerGround = make([]*stretch, n), make([][]reached, n)
	}
	where := s.rule.GetWhere()
	if len(where)+len(s.in.NewGround) == 0 {
		return nil
	}
	for _, q := range slices.Sorted(maps.Keys(where)) {
		i := pairing(s.t, q)
		if i < 0 {
			if s.otherHas(q) {
				continue
			}
			return errPassed{"it has no axis of " + q}
		}
		w, err := stretchIn(q, where[q], axisUnit(axisAt(s.t, i)))
		if err != nil {
			return err
		}
		*s.stretchOf(i) = w
	}
	if !s.kind.where {
		return nil
	}
	for _, g := range s.in.NewGround {
		i := pairing(s.t, g.Quantity)
		if i < 0 {
			continue
		}
		unit, err := levels(g.Quantity, g.Unit, g.Quantity, axisUnit(axisAt(s.t, i)))
		if err != nil {
			return unjudged("the new ground of %s: %v", g.Quantity, err)
		}
		a, b := unit.of(g.From), unit.of(g.To)
		of := s.groundOf(i)
		*of = append(*of, reached{stretch{min(a, b), max(a, b)}, a})
	}
	s.only = !s.in.Check && !s.isChanged(s.t.ID) && !s.isChanged(s.kind.against(s.rule))
	return nil
}

// otherHas says whether the table that this one is held against has an axis of a quantity.
func (s *subject) otherHas(quantity string) bool {
	id := s.kind.against(s.rule)
	if id == "" {
		return false
	}
	other := s.in.Candidate(id)
	return other != nil && axisFor(other.Table, quantity) != nil
}

// everywhere says that a rule holds all over the table, and that none of it is new ground.
func (r *region) everywhere() bool {
	return r.where == [2]*stretch{} && !r.hasGround() && !r.only
}

// holds says whether the cell of two breakpoints lies inside where, and fresh whether on new ground.
func (r *region) holds(x, y float64) bool { return r.where[0].holds(x) && r.where[1].holds(y) }

func (r *region) fresh(p place) bool {
	if r.whole {
		return true
	}
	for i, v := range [2]float64{p.x, p.y} {
		for _, g := range r.ground[i] {
			if g.cell(v) {
				return true
			}
		}
	}
	return false
}

// stretch says the same of what lies between two neighbours along an axis, at y of the other.
func (r *region) stretch(i int, a, b, other float64) (holds, fresh bool) {
	holds, fresh = r.where[i].meets(a, b) && r.where[1-i].holds(other), r.whole
	for _, g := range r.ground[i] {
		fresh = fresh || g.pair(a, b)
	}
	for _, g := range r.ground[1-i] {
		fresh = fresh || g.cell(other)
	}
	return holds, fresh
}

// ends of where and of new ground are breakpoints of axis i.
func (r *region) ends(i int) []float64 {
	out := r.where[i].ends()
	for _, g := range r.ground[i] {
		out = append(out, g.ends()...)
	}
	return out
}

// snapTo puts what only rounding keeps from a breakpoint of axis i onto it.
func (r *region) snapTo(i int, points []float64) {
	if w := r.where[i]; w != nil {
		w.from, w.to = snap(w.from, points), snap(w.to, points)
	}
	for k := range r.ground[i] {
		r.ground[i][k].snap(points)
	}
}
