package compare

import (
	"fmt"
	"slices"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/definition"
	"witnessmark/tables/surface"
)

// meaningMoved names the tables that are read at other points because a table that helps to compute
// one of their axes changed.
func (s *session) meaningMoved() {
	if len(s.changes) == 0 {
		return
	}
	curves := s.candLay.Index().Curves
	for _, c := range s.changes {
		if len(c.candTable.Feeds) == 0 && (len(curves) == 0 || !curves[s.candLay.ByID[c.id]]) {
			continue
		}
		s.find(&calibrationv1.Finding{
			Rule: "meaning-moved", Severity: "warning", Table: c.id, Count: max(c.report.GetChanged(), 1),
			Tables: downstream(s.candLay, s.candLay.ByID[c.id]), Detail: c.ratios(),
		})
	}
}

// downstream is every table with an axis of a quantity that t feeds, or that is looked up through t, and on through what
// those feed and are looked up for, in definition order.
func downstream(lay *definition.Layout, t *definition.Table) []string {
	fed := map[string]bool{}
	reached := map[string]bool{t.ID: true}
	next := []*definition.Table{t}
	moved := func(a *definition.Axis) bool {
		return a.Quantity != "" && fed[a.Quantity] || a.By != nil && reached[a.By.ID]
	}
	for len(next) > 0 {
		for _, u := range next {
			for _, q := range u.Feeds {
				fed[q] = true
			}
		}
		next = nil
		for _, u := range lay.Tables {
			if !reached[u.ID] && slices.ContainsFunc(u.Axes, moved) {
				reached[u.ID] = true
				next = append(next, u)
			}
		}
	}
	var ids []string
	for _, u := range lay.Tables {
		if reached[u.ID] && u.ID != t.ID {
			ids = append(ids, u.ID)
		}
	}
	return ids
}

// ratio is the smallest and largest candidate/base, and where.
type ratio struct {
	n, zero         int
	least, most     float64
	atLeast, atMost string
}

func (r *ratio) add(base, cand float64, where func() string) {
	if base == 0 || !surface.Finite(base) || !surface.Finite(cand) {
		r.zero++
		return
	}
	v := cand / base
	if r.n == 0 || v < r.least {
		r.least, r.atLeast = v, where()
	}
	if r.n == 0 || v > r.most {
		r.most, r.atMost = v, where()
	}
	r.n++
}

// ratios says how far a feeder moved, as a factor; of moved breakpoints on the joined surface.
func (c *change) ratios() string {
	var r ratio
	switch {
	case c.incomparable != "":
		return "there is no ratio: " + c.incomparable
	case !c.numeric():
		return "it holds labels, so there is no ratio"
	case len(c.joints) > 0:
		for _, j := range c.joints {
			j.each(func(p spot) {
				if !p.off() {
					r.add(p.base, p.cand, func() string { return c.point(j, p.x, p.y) })
				}
			})
		}
	case c.moved():
		return "there is no ratio, since its breakpoints changed and it cannot be interpolated"
	default:
		for i, v := range c.cand().Values {
			if !isOff(c.base(), i) && !isOff(c.cand(), i) {
				r.add(c.base().Values[i], v, func() string { return at(c.cand(), i) })
			}
		}
	}
	if r.n == 0 {
		return "there is no ratio, since the base is 0 or not finite everywhere"
	}
	text := fmt.Sprintf("candidate/base is from %s (%s) to %s (%s)", short(r.least), r.atLeast, short(r.most), r.atMost)
	if r.zero > 0 {
		text += fmt.Sprintf("; %d points have no ratio", r.zero)
	}
	return text
}
