package runcheck

import (
	"fmt"
	"maps"
	"math"
	"slices"
	"strings"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/definition"
	"witnessmark/tables/severity"
	"witnessmark/tables/signal"
	"witnessmark/tables/surface"
	"witnessmark/tables/units"
)

// limitsOf applies the ranges and envelopes of the side's table or signal to what was logged. A mixture is judged under load
// alone: elsewhere its fuel may be cut.
func (c *check) limitsOf(s *side) {
	if c.Limits == nil {
		return
	}
	for _, r := range c.Limits.Source.GetRules() {
		if (r.GetRange() == nil && r.GetEnvelope() == nil) || !c.selects(r, s) {
			continue
		}
		l, err := c.limit(r, s)
		if err != nil {
			c.left("limit %s is not held against the run's %s: %v", r.GetId(), s.channel, err)
			continue
		}
		slack := s.tolerated() / 2
		worst, seconds := c.beyond(func(i int) float64 {
			if s.channel == lambda && !c.loaded(int(s.from[i])) {
				return math.NaN()
			}
			_, over := l.at(int(s.from[i]), float64(s.logged[i]))
			return over - slack
		})
		if worst.samples == 0 {
			continue
		}
		i := worst.worst
		bound, _ := l.at(int(s.from[i]), float64(s.logged[i]))
		c.find("limit", severity.Of(r.GetSeverity()), s, i, fmt.Sprintf("%s %.4g%s is beyond %.4g of limit %s %s, %.2f s in all, by more than %.2g for %g s (%s). The limit's reason: %s",
			s.channel, s.logged[i], In(s.unit), bound, r.GetId(), c.where(s, i), seconds, slack, leastSeconds, practice, strings.Join(strings.Fields(r.GetReason()), " ")))
	}
}

func (c *check) selects(r *calibrationv1.Rule, s *side) bool {
	if s.signal != "" || len(r.GetSelect().GetSignals()) > 0 {
		return slices.Contains(r.GetSelect().GetSignals(), s.signal)
	}
	return slices.ContainsFunc(c.Limits.Selected(r, c.Layout), func(t *definition.Table) bool { return t.ID == s.table })
}

// limit is a rule's bounds at the run's operating points.
type limit struct {
	probe *probe
	low   *signal.Function // or nil
	high  *signal.Function // or nil
	where []inside
}

type inside struct {
	of       *signal.Function
	from, to float64
}

// limit takes a rule apart. Quantities are those that the image gives, as everywhere in the check.
func (c *check) limit(r *calibrationv1.Rule, s *side) (*limit, error) {
	space := signal.NewSpace(c.lay)
	view, l := c.set.In(space), &limit{}
	quantity := c.quantityOf(s)
	for _, q := range slices.Sorted(maps.Keys(r.GetWhere())) {
		w := r.GetWhere()[q]
		f, err := view.Quantity(q, w.GetUnit())
		if err != nil {
			return nil, err
		}
		in := inside{f, math.Inf(-1), math.Inf(1)}
		if w.From != nil {
			in.from = *w.From
		}
		if w.To != nil {
			in.to = *w.To
		}
		l.where = append(l.where, in)
	}
	var err error
	if e := r.GetEnvelope(); e != nil {
		var f *signal.Function
		if f, err = envelope(e, view, space, quantity, s.unit); e.GetSide() == "min" {
			l.low = f
		} else {
			l.high = f
		}
	} else {
		err = l.ends(r.GetRange(), space, quantity, s.unit)
	}
	if err == nil {
		l.probe, err = c.probe(space)
	}
	return l, err
}

func (c *check) quantityOf(s *side) string {
	if s.signal != "" {
		return c.lay.SignalByID[s.signal].Quantity
	}
	return c.lay.ByID[s.table].Quantity
}

func (l *limit) ends(r *calibrationv1.Range, space *signal.Space, quantity, unit string) error {
	level, err := units.BetweenQuantities(quantity, r.GetUnit(), quantity, unit)
	if r.Min != nil {
		l.low = space.Number(level.Level(*r.Min))
	}
	if r.Max != nil {
		l.high = space.Number(level.Level(*r.Max))
	}
	return err
}

func envelope(e *calibrationv1.Envelope, view *signal.View, space *signal.Space, quantity, unit string) (*signal.Function, error) {
	level, err := units.BetweenQuantities(quantity, e.GetUnit(), quantity, unit)
	if err != nil {
		return nil, err
	}
	grid := &surface.Grid{X: e.GetX().GetPoints(), Y: []float64{0}}
	x, err := view.Quantity(e.GetX().GetQuantity(), e.GetX().GetUnit())
	if err != nil {
		return nil, err
	}
	var y *signal.Function
	if e.GetY() != nil {
		grid.Y = e.GetY().GetPoints()
		if y, err = view.Quantity(e.GetY().GetQuantity(), e.GetY().GetUnit()); err != nil {
			return nil, err
		}
	}
	for _, row := range e.GetValues() {
		for _, v := range row.GetValues() {
			grid.Values = append(grid.Values, level.Level(v.GetNumberValue()))
		}
	}
	return space.Lookup(grid, x, y), nil
}

// at is the bound that a value at a sample's operating point is nearest to leaving, and how far it lies beyond; NaN where
// the rule does not hold.
func (l *limit) at(i int, v float64) (bound, over float64) {
	if !l.probe.move(i) {
		return 0, math.NaN()
	}
	for _, in := range l.where {
		if at := l.probe.value(in.of); !(at >= in.from && at <= in.to) {
			return 0, math.NaN()
		}
	}
	over = math.Inf(-1)
	if l.high != nil {
		bound = l.probe.value(l.high)
		over = v - bound
	}
	if l.low != nil {
		if low := l.probe.value(l.low); low-v > over {
			bound, over = low, low-v
		}
	}
	return bound, over
}
