package limits

import (
	"fmt"
	"slices"
	"strings"

	"witnessmark/tables/definition"
	"witnessmark/tables/surface"
)

// track is a table looked at along one of its axes.
type track struct {
	f      *face
	name   string // x or y
	axis   *definition.Axis
	points []float64
	order  int // +1 if the breakpoints rise (or stand still), -1 if they fall, 0 for neither
	stride int // from a cell to the next along the axis
}

// track is nil where the table has no such axis.
func (f *face) track(name string) *track {
	k := 0
	if name == "y" {
		k = 1
	}
	if f.tracks[k] == nil {
		f.tracks[k] = f.newTrack(name)
	}
	return f.tracks[k]
}

func (f *face) newTrack(name string) *track {
	t := &track{f: f, name: name, axis: f.t.X, points: f.x, stride: 1}
	if name == "y" {
		t.axis, t.points, t.stride = f.t.Y, f.y, f.nx
	}
	if t.axis == nil {
		return nil
	}
	t.order = order(t.points)
	return t
}

// off says whether one of the cells so many further along is no value.
func (t *track) off(cell int, by ...int) bool {
	return t.f.off != nil && slices.ContainsFunc(by, func(n int) bool { return t.f.off[cell+n*t.stride] })
}

// at is a cell's breakpoint along the track, and its number; false where there is no such cell.
func (t *track) at(row, col int) (i, cell int, ok bool) {
	if i = col; t.name == "y" {
		i = row
	}
	return i, row*t.f.nx + col, row < t.f.ny && col < t.f.nx
}

// place is that of the cell so many further along.
func (t *track) place(row, col, by int) place {
	if t.name == "y" {
		return t.f.cellAt(row+by, col)
	}
	return t.f.cellAt(row, col+by)
}

func order(points []float64) int {
	rising, falling := surface.Finite(points...), surface.Finite(points...)
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

// opinion is what a rule about neighbours says of a cell, or of the pair that begins with it.
type opinion struct {
	pair, ceiling bool
	// of gets the number of a cell's breakpoint along the track, and the cell's own. It gives what is held against which limit,
	// and which of the pair the finding names, 0 or 1; false where it says nothing.
	of func(t *track, i, cell int) (value, limit float64, by int, ok bool)
	// all says at a glance how many were looked at along a track, every cell of which is a value, and that all pass.
	all func(t *track) (looked int, pass bool)
}

// neighbours judges every cell along the axes named; the base is its cell of the same index.
func (s *subject) neighbours(along []string, indexToo bool, o opinion) error {
	var tracks []*track
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
		}
	}
	if len(tracks) == 0 {
		return unjudged("%s", strings.Join(why, "; "))
	}
	if s.glanceAlong(tracks, &o) {
		return nil
	}
	before := make([]*track, len(tracks))
	for i, t := range tracks {
		if was := s.was(); was != nil {
			before[i] = was.track(t.name)
		}
	}
	everywhere := s.everywhere()
	for row := range s.cand.ny {
		for col := range s.cand.nx {
			for i, t := range tracks {
				s.neighbour(t, before[i], row, col, &o, everywhere)
			}
		}
	}
	if s.looked == 0 {
		return errPassed{"it has no cell with the neighbours that the rule is about, where the rule holds"}
	}
	return nil
}

// glanceAlong says that all neighbours pass, some of which there are.
func (s *subject) glanceAlong(tracks []*track, o *opinion) bool {
	all := 0
	for _, t := range tracks {
		looked, pass := 0, false
		if s.plain() {
			looked, pass = o.all(t)
		}
		if !pass {
			return false
		}
		all += looked
	}
	s.looked += all
	return all > 0
}

// lines are the cells along a track and its neighbours: how many lines lie beside each other, and how far apart.
func (t *track) lines() (n, apart int) {
	if t.name == "y" {
		return t.f.nx, 1
	}
	return t.f.ny, t.f.nx
}

// neighbour judges one cell along one axis.
func (s *subject) neighbour(t, before *track, row, col int, o *opinion, everywhere bool) {
	i, cell, _ := t.at(row, col)
	value, limit, by, ok := o.of(t, i, cell)
	if !ok {
		return
	}
	fresh := false
	if !everywhere {
		holds := false
		if holds, fresh = s.inside(t, row, col, o.pair); !holds || s.only && !fresh {
			return
		}
	}
	s.looked++
	if _, ok := passes(value, limit, o.ceiling); ok {
		return
	}
	v := s.tally.judge(value, limit, o.ceiling)
	p := t.place(row, col, by)
	if before != nil && !fresh && (before.order != 0 || before.axis.Index) {
		if i, cell, ok := before.at(row, col); ok {
			if value, limit, _, ok := o.of(before, i, cell); ok {
				b := s.tally.judge(value, limit, o.ceiling)
				s.tally.add(p, v, &b)
				return
			}
		}
	}
	s.tally.add(p, v, nil)
}

// inside says whether a cell, or the pair that begins with it, lies where the rule holds, and on new ground.
func (s *subject) inside(t *track, row, col int, pair bool) (holds, fresh bool) {
	p := s.cand.cellAt(row, col)
	if !pair {
		return s.holds(p.x, p.y), s.fresh(p)
	}
	q := t.place(row, col, 1)
	if t.name == "y" {
		return s.stretch(1, p.y, q.y, p.x)
	}
	return s.stretch(0, p.x, q.x, p.y)
}
