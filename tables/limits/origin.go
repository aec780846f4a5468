package limits

import "witnessmark/tables/surface"

// held is a surface while it is judged against bounds.
type held struct {
	*subject
	rivals []rival
	base   *surface.Grid // nil where there is none to hold against

	// The stations of everything involved, the base's breakpoints too, found when they are first asked for, and for each
	// rival whether the candidate lies further out there than the base: 0 unknown, 1 yes, -1 no.
	stations func() (fx, fy []station)
	grew     [][]int8
}

// finer joins the breakpoints of the base, and of what limited it, to those that are judged.
func (h *held) finer(l *lattice, xs, ys []stop) (fx, fy []station) {
	more := [2][][]float64{{h.base.X}, {h.base.Y}}
	for _, r := range h.rivals {
		if r.was == nil || r.was == r.now {
			continue
		}
		for i, of := range [2][]float64{r.was.grid.X, r.was.grid.Y} {
			if to := r.was.to[i]; to >= 0 {
				more[to] = append(more[to], of)
			}
		}
	}
	return l.x.finer(xs, more[0]...), l.y.finer(ys, more[1]...)
}

// point judges one point by every bound.
func (h *held) point(point int, x, y *facet) {
	fresh := h.freshAt(x, y)
	if h.only && !fresh || h.gaps && x.cell >= 0 && y.cell >= 0 {
		return
	}
	v := h.cand.grid.On(x.on, y.on)
	if v != v && h.cand.lacks(x.on, y.on) {
		return
	}
	h.judge(v, point, x, y, fresh)
}

// points judges all points of a flat mesh, and passes over those of which there is nothing to note.
func (h *held) points(m *mesh) {
	ceiling, n := m.rivals[0].now.ceiling, len(m.xs)
	for i, v := range m.values {
		if !h.tally.easy(v, m.limits[i], ceiling) {
			h.judge(v, i+1, &m.xs[i%n].sides[0], &m.ys[i/n].sides[0], false)
		}
	}
	h.looked += len(m.values)
}

// judge holds the surface's value at a point against every bound.
func (h *held) judge(v float64, point int, x, y *facet, fresh bool) {
	for i, r := range h.rivals {
		if i > 0 && !surface.Finite(v) {
			return // what is no number is beyond the first bound, and said once
		}
		limit := r.now.on(x.of[i], y.of[i])
		if limit != limit && r.now.lacks(x.of[i], y.of[i]) {
			continue
		}
		h.looked++
		if r.now.still && v != v && limit != limit {
			continue
		}
		if h.tally.easy(v, limit, r.now.ceiling) {
			continue
		}
		c := h.tally.judge(v, limit, r.now.ceiling)
		if !r.now.still && h.tally.closer(&c) {
			h.tally.leave(h.placeAt(point, x, y), c)
		}
		if !c.fails {
			continue
		}
		o := introduced
		if h.base != nil && r.was != nil && !fresh {
			if b, known := h.before(i, x.v, y.v, side{x.below, y.below}); known {
				if o = h.tally.origin(c, &b); o == inherited && h.grewNear(i, x, y) {
					o = worsened
				}
			}
		}
		h.tally.put(h.placeAt(point, x, y), c, o)
	}
}

// before is the base's verdict at a point; not known where it has no value.
func (h *held) before(i int, x, y float64, sd side) (v verdict, known bool) {
	was := h.rivals[i].was
	value, limit := at(h.base, x, y, sd), was.at(x, y, sd)
	if value != value && h.subject.was().lacksAt(x, y, sd) || limit != limit && was.lacksAt(x, y, sd) {
		return v, false
	}
	return h.tally.judge(value, limit, was.ceiling), true
}

// grewNear says whether the candidate lies further out than the base anywhere in the cells that
// touch a point. Between the stations both run straight, so that these tell.
func (h *held) grewNear(i int, x, y *facet) bool {
	xAll, yAll := h.stations()
	if h.grew[i] == nil {
		h.grew[i] = make([]int8, len(xAll)*len(yAll))
	}
	for n := y.near[0]; n <= y.near[1]; n++ {
		for m := x.near[0]; m <= x.near[1]; m++ {
			known := &h.grew[i][n*len(xAll)+m]
			if *known == 0 {
				*known = -1
				if h.grewAt(i, xAll[m], yAll[n]) {
					*known = 1
				}
			}
			if *known > 0 {
				return true
			}
		}
	}
	return false
}

func (h *held) grewAt(i int, x, y station) bool {
	sd, now := side{x.below, y.below}, h.rivals[i].now
	v := at(h.cand.grid, x.v, y.v, sd)
	if r := &h.rivals[i]; r.was == now && v == at(h.base, x.v, y.v, sd) {
		return false
	}
	limit := now.at(x.v, y.v, sd)
	if v != v && h.cand.lacksAt(x.v, y.v, sd) || limit != limit && now.lacksAt(x.v, y.v, sd) {
		return false
	}
	b, known := h.before(i, x.v, y.v, sd)
	return !known || h.tally.further(h.tally.judge(v, limit, now.ceiling), b) // where it had no value it was nowhere out
}

// freshAt says whether a point of the surface lies on new ground.
func (h *held) freshAt(x, y *facet) bool {
	if h.whole || !h.hasGround() {
		return h.whole
	}
	for i, f := range [2]*facet{x, y} {
		for _, g := range h.ground[i] {
			if indexed(axesOf(h.t)[i]) {
				if g.cell(f.v) {
					return true
				}
			} else if g.holds(f.v) && !(f.below && f.v == g.from) {
				return true
			}
		}
	}
	return false
}
