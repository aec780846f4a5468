package limits

import (
	"fmt"
	"math"
	"strings"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/definition"
)

// track is a table looked at along one of its axes.
type track struct {
	f      *face
	name   string // x or y
	axis   *definition.Axis
	points []float64
	order  int // +1 if the breakpoints rise (or stand still), -1 if they fall, 0 for neither
}

// track is nil where the table has no such axis.
func (f *face) track(name string) *track {
	t := &track{f: f, name: name, axis: f.t.X, points: f.x}
	if name == "y" {
		t.axis, t.points = f.t.Y, f.y
	}
	if t.axis == nil {
		return nil
	}
	t.order = order(t.points)
	return t
}

func order(points []float64) int {
	rising, falling := finite(points...), finite(points...)
	for i := 1; i < len(points); i++ {
		rising = rising && points[i] >= points[i-1]
		falling = falling && points[i] <= points[i-1]
	}
	switch {
	case rising:
		return 1
	case falling:
		return -1
	}
	return 0
}

// step is the cell that lies by along the axis from a cell, and the index of its breakpoint.
func (t *track) step(row, col, by int) (place, float64, int, bool) {
	i := col + by
	if t.name == "y" {
		i = row + by
		row = i
	} else {
		col = i
	}
	if i < 0 || i >= len(t.points) || row >= t.f.ny || col >= t.f.nx {
		return place{}, 0, 0, false
	}
	return t.f.cellAt(row, col), t.f.values[row*t.f.nx+col], i, true
}

// opinion is what a rule about neighbours says of a cell; false where it says nothing.
type opinion func(t *track, row, col int) (place, verdict, bool)

// neighbours judges every cell along the axes named; the base is its cell of the same index.
func (s *subject) neighbours(along []string, indexToo bool, of opinion) error {
	var tracks, before []*track
	var why []string
	for _, name := range along {
		t := s.cand.track(name)
		switch {
		case t == nil:
			why = append(why, fmt.Sprintf("the table has no %s axis", name))
		case t.axis.Index && !indexToo:
			why = append(why, fmt.Sprintf("its %s axis is an index axis, along which nothing is measured", name))
		case t.order == 0 && !t.axis.Index:
			why = append(why, fmt.Sprintf("the breakpoints along %s neither rise nor fall", name))
		default:
			tracks = append(tracks, t)
			var b *track
			if s.base != nil {
				b = s.base.track(name)
			}
			before = append(before, b)
		}
	}
	if len(tracks) == 0 {
		return unjudged("%s", strings.Join(why, "; "))
	}
	for row := range s.cand.ny {
		for col := range s.cand.nx {
			for i, t := range tracks {
				s.neighbour(t, before[i], row, col, of)
			}
		}
	}
	return nil
}

// neighbour judges one cell along one axis.
func (s *subject) neighbour(t, before *track, row, col int, of opinion) {
	p, v, ok := of(t, row, col)
	if !ok {
		return
	}
	if before != nil && (before.order != 0 || before.axis.Index) {
		if _, b, ok := of(before, row, col); ok {
			s.tally.add(p, v, &b)
			return
		}
	}
	s.tally.add(p, v, nil)
}

// slope judges the difference of neighbours per unit of the axis. Neighbours on one breakpoint, a
// step, are infinitely steep unless they are equal.
func (s *subject) slope(r *calibrationv1.Slope) error {
	limit, err := spans(r.GetUnit(), s.t.Unit)
	if err != nil {
		return err
	}
	limit *= r.GetMax()
	if a := [2]*definition.Axis{s.t.X, s.t.Y}[axisIndex(r.GetAlong())]; a != nil && r.GetAxisUnit() != "" {
		per, err := spans(r.GetAxisUnit(), a.Unit)
		if err != nil {
			return err
		}
		limit /= per
	}
	return s.neighbours([]string{r.GetAlong()}, false, func(t *track, row, col int) (place, verdict, bool) {
		p, a, i, ok := t.step(row, col, 0)
		_, b, k, okNext := t.step(row, col, 1)
		if !ok || !okNext || a == b && t.points[i] == t.points[k] {
			return place{}, verdict{}, false
		}
		return p, s.tally.judge(math.Abs(b-a)/math.Abs(t.points[k]-t.points[i]), limit, true), true
	})
}

func axisIndex(along string) int {
	if along == "y" {
		return 1
	}
	return 0
}

// lump judges how far an inner cell lies off the straight line through its two neighbours.
func (s *subject) lump(r *calibrationv1.Lump) error {
	limit, err := spans(r.GetUnit(), s.t.Unit)
	if err != nil {
		return err
	}
	limit *= r.GetMax()
	along := []string{"x", "y"}
	if r.GetAlong() != "" {
		along = []string{r.GetAlong()}
	}
	return s.neighbours(along, false, func(t *track, row, col int) (place, verdict, bool) {
		_, a, i, okA := t.step(row, col, -1)
		p, b, k, okB := t.step(row, col, 0)
		_, c, m, okC := t.step(row, col, 1)
		if !okA || !okB || !okC || t.points[i] == t.points[m] {
			return place{}, verdict{}, false
		}
		part := (t.points[k] - t.points[i]) / (t.points[m] - t.points[i])
		straight := a + float64(part*(c-a))
		return p, s.tally.judge(math.Abs(b-straight), limit, true), true
	})
}

// monotonic judges the order of breakpoints, or of values.
func (s *subject) monotonic(r *calibrationv1.Monotonic) error {
	if r.GetOf() == "axes" {
		return s.monotonicAxes()
	}
	rising := r.GetRising() || r.GetDirection() == "rising"
	return s.neighbours([]string{r.GetAlong()}, true, func(t *track, row, col int) (place, verdict, bool) {
		p, a, _, ok := t.step(row, col, 0)
		q, b, _, okNext := t.step(row, col, 1)
		if !ok || !okNext {
			return place{}, verdict{}, false
		}
		if t.order < 0 { // read backwards: the later of the two is the one stored first
			a, b, q = b, a, p
		}
		return q, s.tally.judge(b, a, !rising), true
	})
}

// monotonicAxes asks that the breakpoints of each axis rise, or fall, strictly.
func (s *subject) monotonicAxes() error {
	for _, name := range []string{"x", "y"} {
		t := s.cand.track(name)
		if t == nil {
			continue
		}
		var before *track
		if s.base != nil {
			before = s.base.track(name)
		}
		for i := 1; i < len(t.points); i++ {
			v := strictly(t.points, i)
			if !v.fails {
				continue
			}
			row, col := 0, i
			if name == "y" {
				row, col = i, 0
			}
			s.detail = fmt.Sprintf("breakpoints of the %s axis", name)
			p := s.cand.cellAt(row, col)
			p.along = name
			if before != nil && i < len(before.points) {
				b := strictly(before.points, i)
				s.tally.add(p, v, &b)
				continue
			}
			s.tally.add(p, v, nil)
		}
	}
	return nil
}

// strictly says whether a breakpoint lies beyond the one before it, in the direction in which the
// axis runs from end to end.
func strictly(points []float64, i int) verdict {
	v := verdict{value: points[i], limit: points[i-1]}
	ahead := v.value - v.limit
	if points[len(points)-1] < points[0] {
		ahead = -ahead
	}
	switch {
	case !finite(v.value, v.limit):
		v.excess, v.fails = math.Inf(1), true
	case ahead <= 0:
		v.excess, v.fails = max(0, -ahead), true
	}
	return v
}
