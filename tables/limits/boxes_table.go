package limits

import (
	"math"
	"slices"

	"witnessmark/tables/bounded"
	"witnessmark/tables/definition"
	"witnessmark/tables/formula"
	"witnessmark/tables/signal"
	"witnessmark/tables/surface"
	"witnessmark/tables/units"
)

// bends says whether something of what is judged runs in no straight line between its breakpoints.
func (s *subject) bends(rivals []rival) bool {
	bends := s.cand.curved || s.base != nil && s.base.curved
	for _, r := range rivals {
		bends = bends || r.now.curved || r.was != nil && r.was.curved || r.now.share != 0
	}
	return bends
}

// holdBoxes judges a surface against bounds over boxes of its axes.
func (s *subject) holdBoxes(rivals []rival) error {
	if _, err := s.lattice(rivals); err != nil { // which puts what is almost one breakpoint on one
		return err
	}
	b := &boxes{subject: s, space: signal.NewSpace(nil)}
	value, err := b.space.Table(s.cand.d)
	if err != nil {
		return unjudged("%v", err)
	}
	b.value = value
	if b.step, err = value.RawStep(); err != nil { // it goes in even steps
		b.step = func(*bounded.Box) float64 { return 0 }
		if !s.t.Cells.Float {
			b.step = func(*bounded.Box) float64 { return s.t.Cells.Conv.Step() }
		}
	}
	if s.base != nil {
		if why := surfaces(s.cand, s.base); why != nil {
			s.detail = "the base could not be judged: " + why.Error()
		} else if b.base, err = s.tableIn(b.space, s.base.d); err != nil {
			return err
		}
		b.moved = b.rawMoved()
	}
	var edges []edge
	for _, r := range rivals {
		e, err := s.edge(b.space, r)
		if err != nil {
			return err
		}
		edges = append(edges, e)
	}
	if b.areas, err = s.areas(b.space); err != nil {
		return err
	}
	b.passCodes(edges)
	areas := b.areas
	for i, e := range edges {
		b.areas = areas
		if from := rivals[i].now; e.still && from.of != nil && sameMeaning(s.cand.t, from.of.Table) {
			b.areas = b.whereRawMoved(areas, from.grid.Raw())
		}
		b.hold(e)
	}
	if s.looked == 0 {
		return errPassed{"no point of it lies where the rule holds"}
	}
	return nil
}

// passCodes leaves out what is interpolated from a code that is no value, and holds nothing against the base where that is.
func (b *boxes) passCodes(edges []edge) {
	if len(b.areas) == 0 {
		return
	}
	of, was := []*signal.Function{b.value.(*signal.Function)}, []*signal.Function{}
	if b.base != nil {
		was = append(was, b.base.(*signal.Function))
	}
	for _, e := range edges {
		of = append(of, e.now)
		if e.was != nil {
			was = append(was, e.was)
		}
	}
	cells := b.areas[0].cells
	if valued := signal.Whole(cells, of...); valued != nil {
		for i := range b.areas {
			b.areas[i].only = both(b.areas[i].only, valued)
		}
	}
	valued := signal.Whole(cells, was...)
	if valued == nil {
		return
	}
	var out []area
	for _, a := range b.areas {
		against, fresh := a, a
		against.only, fresh.only, fresh.fresh = both(a.only, valued), both(a.only, func(index []int) bool { return !valued(index) }), true
		out = append(out, against, fresh)
	}
	b.areas = out
}

// both is where two hold; nil is everywhere.
func both(a, b func(index []int) bool) func(index []int) bool {
	if a == nil {
		return b
	}
	return func(index []int) bool { return a(index) && b(index) }
}

// whereRawMoved leaves out the cells of areas in which what is judged is raw what it is held against, be it no number.
func (b *boxes) whereRawMoved(areas []area, from *surface.Grid) []area {
	moved := b.rawFrom(from)
	out := slices.Clone(areas)
	for i, a := range out {
		for _, along := range a.cells {
			if len(along) == 0 {
				return areas
			}
		}
		b.looked++ // at all of it, of which the most has not moved
		box := boxOf(a.cells)
		out[i].only = func(index []int) bool {
			if a.only != nil && !a.only(index) {
				return false
			}
			up, down, _ := moved(box(index))
			return up || down
		}
	}
	return out
}

// rawMoved compares raw values: between the breakpoints of both they run straight along each axis, so that the corners
// tell, and the conversion keeps or turns their order.
func (b *boxes) rawMoved() moved {
	if b.base == nil || !sameMeaning(b.cand.t, b.subject.base.t) {
		return nil
	}
	from := b.rawFrom(b.subject.base.grid.Raw())
	return func(cell *bounded.Box) (up, down, known bool) {
		up, down, reach := from(cell)
		known = surface.Finite(reach.Lo, reach.Hi)
		if up || down {
			switch ordering(&b.t.Cells.Conv, reach.Lo, reach.Hi) {
			case 0:
				known = false
			case -1:
				up, down = down, up
			}
		}
		return up, down, known
	}
}

// rawFrom says of a cell whether raw values lie above others anywhere, or below, and between which all of them lie.
func (b *boxes) rawFrom(was *surface.Grid) func(cell *bounded.Box) (up, down bool, reach bounded.Interval) {
	now := b.cand.grid.Raw()
	along := [2]int{-1, -1}
	for i, in := range b.space.Inputs() {
		if k := b.axisOf(&in); k >= 0 {
			along[k] = i
		}
	}
	return func(cell *bounded.Box) (up, down bool, reach bounded.Interval) {
		least, most := math.Inf(1), math.Inf(-1)
		for _, x := range corners(cell, along[0]) {
			for _, y := range corners(cell, along[1]) {
				sd := side{x.below, y.below}
				p, q := at(now, x.v, y.v, sd), at(was, x.v, y.v, sd)
				least, most = min(least, p, q), max(most, p, q)
				other := p != q && (p == p || q == q)
				up, down = up || other && !(p <= q), down || other && !(p >= q)
			}
		}
		return up, down, bounded.Interval{Lo: least, Hi: most}
	}
}

// ordering is 1 where a conversion rises from one raw value to another, -1 where it falls, 0 where it may do both.
func ordering(c *definition.Conversion, least, most float64) int {
	switch {
	case c.Points != nil:
		return orderingOf(c.Points, least, most)
	case !c.Rational:
		return int(math.Copysign(1, c.Factor))
	}
	n, d := c.Num, c.Den
	bend := [3]float64{ // the numerator of its slope
		float64(n[1]*d[0]) - float64(n[0]*d[1]), 2 * (float64(n[2]*d[0]) - float64(n[0]*d[2])), float64(n[2]*d[1]) - float64(n[1]*d[2]),
	}
	if oneSign(d, least, most) == 0 {
		return 0
	}
	return oneSign(bend, least, most)
}

// orderingOf is the same of a conversion by pairs.
func orderingOf(p *definition.Points, least, most float64) int {
	up, down, last := true, true, math.NaN()
	signal.Through(p, least, most, func(v float64) {
		up, down, last = up && !(v < last), down && !(v > last), v
	})
	switch {
	case up:
		return 1
	case down:
		return -1
	}
	return 0
}

// oneSign is the sign that a quadratic has all over a stretch, 0 for none.
func oneSign(q [3]float64, least, most float64) int {
	ends := []float64{least, most}
	if turn := -q[1] / (2 * q[2]); turn > least && turn < most {
		ends = append(ends, turn)
	}
	up, down := true, true
	for _, v := range ends {
		y := q[0] + float64(q[1]*v) + float64(q[2]*float64(v*v))
		up, down = up && y > 0, down && y < 0
	}
	switch {
	case up:
		return 1
	case down:
		return -1
	}
	return 0
}

// corners are the ends of a cell along an input, seen from inside; any point where there is no such input.
func corners(cell *bounded.Box, i int) []station {
	if i < 0 {
		return []station{{}}
	}
	if c := cell[i]; c.Lo < c.Hi {
		return []station{{v: c.Lo}, {v: c.Hi, below: true}}
	}
	return []station{{v: cell[i].Lo}}
}

// edge is a bound as a function, and what it was; one function if both are the same.
func (s *subject) edge(space *signal.Space, r rival) (edge, error) {
	e := edge{ceiling: r.now.ceiling, still: r.now.still}
	var err error
	if e.now, err = s.limitIn(space, r.now); err != nil || r.was == nil {
		return e, err
	}
	if e.was = e.now; r.was != r.now && !sameTable(r.was.of, r.now.of) {
		e.was, err = s.limitIn(space, r.was)
	}
	return e, err
}

// sameTable says whether a table is in two images what it is in one.
func sameTable(a, b *surface.Decoded) bool {
	p, q := a.Table, b.Table
	return sameMeaning(p, q) && p.Quantity == q.Quantity && sameAxis(p.X, q.X) && sameAxis(p.Y, q.Y) &&
		axisUnit(p.X) == axisUnit(q.X) && axisUnit(p.Y) == axisUnit(q.Y) && slices.Equal(a.Bits, b.Bits) && samePoints(a.X, b.X) && samePoints(a.Y, b.Y) &&
		slices.EqualFunc(a.Beyond(), b.Beyond(), samePoints)
}

// tableIn is a table as a function, in the unit of the one that is judged.
func (s *subject) tableIn(space *signal.Space, d *surface.Decoded) (*signal.Function, error) {
	t := d.Table
	f, err := space.TableWith(d, func(i int) *signal.Function { return s.heldIn(space, t, i) })
	if err != nil {
		return nil, unjudged("%v", err)
	}
	to, err := units.BetweenQuantities(d.Table.Quantity, d.Table.Unit, s.t.Quantity, s.t.Unit)
	if err != nil {
		return nil, err
	}
	return f.In(to), nil
}

// heldIn is the place of the slice under judgement along an axis of another table, in its unit; nil where it has none.
func (s *subject) heldIn(space *signal.Space, other *definition.Table, i int) *signal.Function {
	axis := axisAt(other, i)
	to := pairing(s.t, axis.Quantity)
	if to < flat {
		return nil
	}
	level, err := levels(axis.Quantity, axisUnit(axisAt(s.t, to)), axis.Quantity, axisUnit(axis))
	if err != nil {
		return nil // the limits do not fit then, which was told before
	}
	return space.Number(level.of(s.cand.t.Slice.At[to-flat].Point))
}

// limitIn is a bound as a function of the table's axes, and of those that only the bound has.
func (s *subject) limitIn(space *signal.Space, b *bound) (*signal.Function, error) {
	var f *signal.Function
	if b.of != nil {
		var err error
		if f, err = s.tableIn(space, b.of); err != nil {
			return nil, err
		}
	} else {
		var at [2]*signal.Function
		for i, to := range b.to {
			if to < 0 {
				continue
			}
			axis := axesOf(s.t)[to]
			var err error
			if at[i], err = space.Input(axis.Quantity, axis.Unit); err != nil {
				return nil, err
			}
		}
		f = space.Lookup(b.grid, at[0], at[1])
	}
	by := space.Number(b.shift)
	if b.share != 0 {
		size := signal.Apply(formula.Max, f, signal.Apply(formula.Neg, f), space.Number(b.least))
		by = signal.Apply(formula.Mul, size, space.Number(b.share))
	}
	return signal.Apply(formula.Add, f, by), nil
}

// areas are the cells where the rule holds, and of those the ones on new ground.
func (s *subject) areas(space *signal.Space) ([]area, error) {
	stretches, err := s.stretches(space)
	if err != nil {
		return nil, err
	}
	cells := clipped(space, stretches)
	ground := s.groundIn(space.Inputs())
	switch {
	case s.whole || ground == nil && !s.only:
		return []area{{cells: cells, fresh: s.whole}}, nil
	case ground == nil:
		return nil, nil
	}
	fresh := func(index []int) bool {
		for i, n := range index {
			for _, g := range ground[i] {
				if c := cells[i][n]; g.cell(c.Middle()) {
					return true
				}
			}
		}
		return false
	}
	areas := []area{{cells: cells, only: fresh, fresh: true}}
	if !s.only {
		areas = append(areas, area{cells: cells, only: func(index []int) bool { return !fresh(index) }})
	}
	return areas, nil
}

// stretches are where the rule holds, of each input, whose ends become breakpoints.
func (s *subject) stretches(space *signal.Space) ([]*stretch, error) {
	inputs := space.Inputs()
	out := make([]*stretch, len(inputs))
	for i, in := range inputs {
		k := s.axisOf(&in)
		var ends []float64
		if k >= 0 {
			out[i], ends = s.where[k], s.ends(k)
		} else if w := s.rule.GetWhere()[in.Quantity]; w != nil {
			var err error
			if out[i], err = stretchIn(in.Quantity, w, in.Unit); err != nil {
				return nil, err
			}
			ends = out[i].ends()
		}
		if !in.Index {
			if err := space.Break(in.Quantity, in.Unit, ends...); err != nil {
				return nil, err
			}
		}
	}
	return out, nil
}

// groundIn is the new ground along each input; nil for none.
func (s *subject) groundIn(inputs []signal.Input) [][]reached {
	if len(s.ground[0])+len(s.ground[1]) == 0 {
		return nil
	}
	out := make([][]reached, len(inputs))
	for i, in := range inputs {
		if k := s.axisOf(&in); k >= 0 {
			out[i] = s.ground[k]
		}
	}
	return out
}

// clipped are a space's cells where stretches hold, nil for all of an input.
func clipped(space *signal.Space, stretches []*stretch) [][]bounded.Interval {
	cells := space.Cells()
	for i, w := range stretches {
		cells[i] = clip(cells[i], w)
		// At its last end itself a stretch has what a step there has above.
		if n := len(cells[i]); w != nil && n > 0 {
			if last := cells[i][n-1]; last.Lo < last.Hi && space.Steps(i, last.Hi) {
				cells[i] = append(cells[i], bounded.Exactly(last.Hi))
			}
		}
	}
	return cells
}

// clip keeps the cells inside a stretch; of one that is a point, the point as it is seen from above.
func clip(cells []bounded.Interval, w *stretch) []bounded.Interval {
	if w == nil || len(cells) == 0 {
		return cells
	}
	var out []bounded.Interval
	for _, c := range cells {
		if w.holds(c.Middle()) && (c.Lo == c.Hi || c.Hi > w.from && w.from < w.to) {
			out = append(out, c)
		}
	}
	if first, last := cells[0].Lo, cells[len(cells)-1].Hi; len(out) == 0 && w.from == w.to && w.from >= first && w.from <= last && first < last {
		out = []bounded.Interval{bounded.Exactly(w.from)}
	}
	return out
}
