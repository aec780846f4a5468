package limits

import (
	"math"

	"witnessmark/tables/surface"
)

// At a glance most tables pass: plain loops over their values say so, and leave the room that is left as it would be left point
// by point. Where anything is beyond a limit, or no number, they say nothing, and the table is judged point by point.

// plain says that a rule holds all over the table, and that every cell of it holds a value.
func (s *subject) plain() bool { return s.cand.off == nil && s.everywhere() }

// glance is the least room that values leave, and the first that leaves it; -1 where none leaves less than was left before.
type glance struct {
	least float64
	at    int
}

func (t *tally) glance() glance {
	if t.judged {
		return glance{t.least.room, -1}
	}
	return glance{math.Inf(1), -1}
}

// passes says that all pass, and that there is a least room.
func (g *glance) passes(t *tally) bool { return g.least >= 0 && (g.at >= 0 || t.judged) }

// under holds values below limits, or above them if they are no ceiling, one each; it goes as far as there are numbers.
func (g *glance) under(values, limits []float64, ceiling bool) (numbers bool) {
	limits = limits[:len(values)]
	for i, v := range values {
		room := limits[i] - v
		if !ceiling {
			room = -room
		}
		if room < g.least {
			g.least, g.at = room, i
		} else if !(room <= math.MaxFloat64) {
			return false
		}
	}
	return true
}

// within holds values below one level and above another: the least room is at a value by the first if at is even, else by the
// second, and the value's index half of it.
func (g *glance) within(values []float64, high, low float64) (numbers bool) {
	for i, v := range values {
		if v-v != 0 {
			return false
		}
		if room := high - v; room < g.least {
			g.least, g.at = room, 2*i
		}
		if room := v - low; room < g.least {
			g.least, g.at = room, 2*i+1
		}
	}
	return true
}

// levelsOf are the ceiling and the floor of a range, infinite where there is none.
func levelsOf(bounds []rival) [2]float64 {
	level := [2]float64{math.Inf(1), math.Inf(-1)}
	for _, r := range bounds {
		if r.now.ceiling {
			level[0] = r.now.shift
		} else {
			level[1] = r.now.shift
		}
	}
	return level
}

// easyWithin is easy of a ceiling and a floor.
func (t *tally) easyWithin(v float64, level [2]float64) bool {
	least := max(t.least.room, 0)
	return v-v == 0 && t.judged && level[0]-v >= least && v-level[1] >= least
}

// passesRange says that all cells lie within the bounds of a range.
func (s *subject) passesRange(level [2]float64) bool {
	g := s.tally.glance()
	if !s.plain() || !g.within(s.cand.values, level[0], level[1]) || !g.passes(&s.tally) {
		return false
	}
	if g.at >= 0 {
		i, floor := g.at/2, g.at%2
		s.tally.leave(s.cand.cellAt(i/s.cand.nx, i%s.cand.nx), s.tally.judge(s.cand.values[i], level[floor], floor == 0))
	}
	return true
}

// flatten prepares a mesh for tables that pass at a glance: of one bound, without steps.
func (s *subject) flatten(m *mesh) {
	if len(m.rivals) != 1 || len(m.xs)*len(m.ys) == 0 {
		return
	}
	b := m.rivals[0].now
	if b.still || b.codes != nil || b.among != nil || b.grid.Convert != nil || b.to[0] == 1 || b.to[1] == 0 {
		return
	}
	x, ofX, plain := spansOf(m.xs)
	y, ofY, too := spansOf(m.ys)
	if !plain || !too {
		return
	}
	n := len(x) * len(y)
	m.xSpans, m.ySpans, m.limits, m.values = x, y, s.room.numbers.Take(n), s.room.numbers.Take(n)
	b.grid.OnAll(ofX, ofY, &s.rows, m.limits)
	for i, v := range m.limits {
		m.limits[i] = b.moved(v)
	}
}

// spansOf is where stops lie on the table's own axis, and on the bound's; false where any of them has two sides.
func spansOf(stops []stop) (on, of []surface.Span, plain bool) {
	all := make([]surface.Span, 2*len(stops))
	on, of = all[:len(stops)], all[len(stops):]
	for i := range stops {
		if len(stops[i].sides) != 1 {
			return nil, nil, false
		}
		f := &stops[i].sides[0]
		on[i], of[i] = f.on, f.of[0]
	}
	return on, of, true
}

// flat works out the surface on a mesh that is prepared for that.
func (s *subject) flat(m *mesh) bool {
	if m.limits == nil || !s.plain() || s.cand.grid.Convert != nil {
		return false
	}
	s.cand.grid.OnAll(m.xSpans, m.ySpans, &s.rows, m.values)
	return true
}

// passesMesh says that the whole surface, worked out on a mesh, keeps the bound.
func (s *subject) passesMesh(m *mesh) bool {
	ceiling, g := m.rivals[0].now.ceiling, s.tally.glance()
	if !g.under(m.values, m.limits, ceiling) || !g.passes(&s.tally) {
		return false
	}
	if s.looked += len(m.limits); g.at >= 0 {
		x, y := &m.xs[g.at%len(m.xs)].sides[0], &m.ys[g.at/len(m.xs)].sides[0]
		s.tally.leave(s.placeAt(g.at+1, x, y), s.tally.judge(m.values[g.at], m.limits[g.at], ceiling))
	}
	return true
}
