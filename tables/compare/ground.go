package compare

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"google.golang.org/protobuf/proto"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/definition"
	"witnessmark/tables/limits"
	"witnessmark/tables/surface"
	"witnessmark/tables/units"
)

// extremes is the cells that hold the least and the greatest finite value; false if none is finite.
func extremes(d *surface.Decoded) (least, most int, ok bool) {
	for i, v := range d.Values {
		switch {
		case !surface.Finite(v):
		case !ok:
			least, most, ok = i, i, true
		case v < d.Values[least]:
			least = i
		case v > d.Values[most]:
			most = i
		}
	}
	return least, most, ok
}

// stretch is values that a changed table newly reaches: from the old reach to the new one.
type stretch struct {
	from, to float64
	cell     int // of the candidate, that reaches furthest
}

func (t stretch) rises() bool { return t.to > t.from }

// stretches are none, one or two: above what was the greatest value, below what was the least.
func (c *change) stretches() (out []stretch) {
	if !c.numeric() || c.candTable.MirrorComplement { // what repeats a value upside down is none
		return nil
	}
	wasLeast, wasMost, was := extremes(c.base())
	least, most, is := extremes(c.cand())
	if !was || !is {
		return nil
	}
	rise := stretch{c.base().Values[wasMost], c.cand().Values[most], most}
	fall := stretch{c.base().Values[wasLeast], c.cand().Values[least], least}
	moved := func(t stretch) bool { return !near(t.from, t.to, c.candTable.Cells.Rounding(t.from, t.to)) }
	if rise.rises() && moved(rise) {
		out = append(out, rise)
	}
	if !fall.rises() && moved(fall) {
		out = append(out, fall)
	}
	return out
}

// newGround finds the stretches of an axis that come into use because a table of its quantity reaches
// further than it did, and keeps them for the limits to judge.
func (s *session) newGround() {
	if len(s.changes) == 0 {
		return
	}
	on := s.candLay.Index().On
	for _, c := range s.changes {
		over := on[c.candTable.Quantity]
		if len(over) == 0 {
			continue
		}
		if r := c.stretches(); len(r) > 0 {
			s.groundOf(c, r, over)
		}
	}
	s.ground = joinGround(s.ground)
}

// groundOf is what one changed table opens of others.
func (s *session) groundOf(c *change, reached []stretch, over []int) {
	t := c.candTable
	f := &calibrationv1.Finding{Rule: "new-ground", Severity: "notice", Table: c.id}
	var what, ends []string
	for _, st := range reached {
		word := map[bool]string{true: "greatest value rose", false: "least value fell"}[st.rises()]
		what = append(what, fmt.Sprintf("its %s from %s to %s %s (%s)", word, short(st.from), short(st.to), unitOf(t), at(c.cand(), st.cell)))
		if by := max(st.to-st.from, st.from-st.to); f.Worst == nil || by > f.Worst.Excess {
			f.Worst = placeOf(c.cand(), st.cell)
			f.Worst.Value, f.Worst.Limit, f.Worst.Excess = proto.Float64(st.to), proto.Float64(st.from), by
		}
	}
	for _, i := range over {
		u := s.candLay.Tables[i]
		if u.ID == t.ID {
			continue
		}
		end, err := s.axisEnd(t, u, reached)
		if err != nil {
			s.report.Unjudged = append(s.report.Unjudged, &calibrationv1.Unjudged{Rule: f.Rule, Table: u.ID, Reason: err.Error()})
			continue
		}
		f.Tables = append(f.Tables, u.ID)
		if end != "" {
			ends = append(ends, end)
		}
	}
	if len(f.Tables) == 0 {
		return
	}
	f.Count, f.Detail = uint32(len(f.Tables)), strings.Join(what, "; ")
	if len(ends) > 0 {
		f.Severity = "caution"
		f.Detail += "; before that end " + listed(ends)
	}
	s.find(f)
	for _, st := range reached {
		s.ground = append(s.ground, limits.NewGround{Quantity: t.Quantity, Unit: t.Unit, From: st.from, To: st.to, By: []string{c.id}})
	}
}

// axisEnd says where u's axis of t's quantity ends, if that is before what t newly reaches; empty if not.
// The error is that the units do not convert.
func (s *session) axisEnd(t, u *definition.Table, reached []stretch) (string, error) {
	k := slices.IndexFunc(u.Axes, func(a *definition.Axis) bool { return a.Quantity == t.Quantity })
	a := u.Axes[k]
	to, err := converter(t.Quantity, t.Unit, t.UnitText, a.Quantity, a.Unit, a.UnitText)
	if err != nil {
		return "", err
	}
	points := s.points(u, k)
	if !surface.Finite(points...) || len(points) == 0 {
		return "", nil
	}
	low, high := slices.Min(points), slices.Max(points)
	for _, st := range reached {
		reach := to.Level(st.to)
		end, before := high, high < reach
		if !st.rises() {
			end, before = low, low > reach
		}
		if before && !near(end, reach, 1e-9*max(math.Abs(end), math.Abs(reach))) {
			return fmt.Sprintf("%s at %s %s", u.ID, short(end), a.Unit), nil
		}
	}
	return "", nil
}

// points is the candidate's breakpoints along an axis of a table; nil where they are not known.
func (s *session) points(t *definition.Table, k int) []float64 {
	in, err := s.cand.lies(t)
	if err != nil || t.Varies() && s.unknown[t.ID] != "" || len(s.cand.holes.of["axis "+t.Axes[k].ID]) > 0 {
		return nil
	}
	points, _ := s.cand.reader.Points(in.Axes[k])
	return points
}

// joinGround makes one of stretches of a quantity that go the same way and overlap or touch, in the unit
// of the first. What does not convert to it stays by itself.
func joinGround(all []limits.NewGround) (out []limits.NewGround) {
	first := map[string]string{}
	for i, g := range all {
		unit := first[g.Quantity]
		if unit == "" {
			first[g.Quantity] = g.Unit
			continue
		}
		if to, err := units.BetweenQuantities(g.Quantity, g.Unit, g.Quantity, unit); err == nil {
			all[i].From, all[i].To, all[i].Unit = to.Level(g.From), to.Level(g.To), unit
		}
	}
	way := func(g limits.NewGround) float64 { // so that both ways are sorted from their old reach on
		if g.To < g.From {
			return -1
		}
		return 1
	}
	slices.SortStableFunc(all, func(a, b limits.NewGround) int {
		return cmp.Or(cmp.Compare(a.Quantity, b.Quantity), cmp.Compare(a.Unit, b.Unit), cmp.Compare(way(a), way(b)),
			cmp.Compare(way(a)*a.From, way(b)*b.From))
	})
	for _, g := range all {
		n := len(out) - 1
		if n < 0 || out[n].Quantity != g.Quantity || out[n].Unit != g.Unit || way(out[n]) != way(g) || way(g)*g.From > way(g)*out[n].To {
			out = append(out, g)
			continue
		}
		if way(g)*g.To > way(g)*out[n].To {
			out[n].To = g.To
		}
		if !slices.Contains(out[n].By, g.By[0]) {
			out[n].By = append(out[n].By, g.By...)
		}
	}
	return out
}
