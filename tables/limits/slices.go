package limits

import (
	"errors"
	"fmt"
	"slices"

	"witnessmark/tables/definition"
)

// pairSlices pairs those of a block with the base's at the same places. One that the base lacks has nothing to be held
// against.
func (j *judge) pairSlices(t *definition.Table, p *pair) error {
	home := func(of int) int { return of }
	if j.baseOf(t, p); p.base != nil {
		var err error
		if home, err = p.base.placesOf(p.cand); err != nil {
			p.base, p.detail = nil, "the base could not be judged: "+err.Error()
		}
	}
	p.slices = make([]pair, len(p.d.Slices))
	for k, d := range p.d.Slices {
		one := &p.slices[k]
		one.d, one.detail = d, p.detail
		if one.cand, one.err = j.newFace(d, keyOf(ofCandidate, t.ID, t)); one.err != nil {
			return one.err
		}
		if p.base == nil {
			continue
		}
		at := home(k)
		if at < 0 {
			one.detail = "the base has no slice " + placed(d.Table.Slice)
			continue
		}
		var err error
		if one.base, err = j.newFace(p.base.d.Slices[at], keyOf(ofBase, t.ID, t)); err != nil {
			return err
		}
	}
	return nil
}

// placesOf says for each slice of another face by number which one of this one lies at its place, -1 for none.
func (f *face) placesOf(o *face) (func(slice int) int, error) {
	ours, theirs := f.lines()[flat:], o.lines()[flat:]
	if len(ours) != len(theirs) {
		return nil, unjudged("it has %d axes, and not %d", len(ours)+flat, len(theirs)+flat)
	}
	match := make([][]int, len(ours))
	for i := range ours {
		if !sameAxis(ours[i].axis, theirs[i].axis) {
			return nil, unjudged("its axes stand for other quantities")
		}
		first, sorted := map[float64]int{}, slices.Sorted(slices.Values(ours[i].points))
		for k, p := range slices.Backward(ours[i].points) {
			first[p] = k
		}
		for k, p := range theirs[i].points {
			at, known := first[snap(p, sorted)]
			if k < len(ours[i].points) && ours[i].points[k] == p {
				at, known = k, true
			}
			if !known {
				at = -1
			}
			match[i] = append(match[i], at)
		}
	}
	return func(slice int) int {
		out, step := 0, 1
		for i, m := range match {
			at := m[slice%len(m)]
			if at < 0 {
				return -1
			}
			out += at * step
			slice, step = slice/len(m), step*len(ours[i].points)
		}
		return out
	}, nil
}

// placed says where a slice lies.
func placed(s *definition.Slice) string {
	out := "at"
	for i, at := range s.At {
		if i > 0 {
			out += ","
		}
		out += fmt.Sprintf(" %s %v", nameOf(at.Axis), shown(at))
	}
	return out
}

func shown(p definition.Place) any {
	if p.Axis.Labels != nil {
		return p.Label
	}
	return p.Point
}

// eachSlice judges a block slice by slice: what is found adds up to one finding for each origin.
func (s *subject) eachSlice() error {
	both := s.pair(s.t)
	if both.slices == nil {
		if err := s.pairSlices(s.t, both); err != nil {
			return err
		}
	}
	for i, points := range both.cand.beyond { // what only rounding keeps from a place is that place
		points = slices.Sorted(slices.Values(points))
		if w := s.outer[i]; w != nil {
			w.from, w.to = snap(w.from, points), snap(w.to, points)
		}
		for k := range s.outerGround[i] {
			s.outerGround[i][k].snap(points)
		}
	}
	home, detail, judged := s.region, both.detail, 0
	var passed errPassed
	var undone []error
	for k := range both.slices {
		p := &both.slices[k]
		s.region, s.looked = home, 0
		s.cand, s.base, s.asked, s.detail = p.cand, p.base, true, p.detail
		if !s.enter(p.cand.t.Slice) {
			continue
		}
		s.tally.turn()
		err := s.judgeFace()
		if s.detail != "" {
			detail = s.detail
		}
		switch {
		case err == nil:
			judged++
		case errors.As(err, new(errUnjudged)):
			undone = append(undone, err)
		case !errors.As(err, &passed):
			return err
		}
	}
	s.detail = detail
	switch {
	case judged > 0 && undone != nil:
		s.undone = unjudged("%d of %d slices: %v", len(undone), len(both.slices), undone[0])
	case judged > 0:
	case undone != nil:
		return undone[0]
	case passed.why != "":
		return passed
	default:
		return errPassed{"no slice of it lies where the rule holds"}
	}
	return nil
}

// enter says whether the rule holds on a slice, and notes whether all of it is new ground.
func (s *subject) enter(slice *definition.Slice) bool {
	for i, at := range slice.At {
		if !s.outer[i].holds(at.Point) {
			return false
		}
		for _, g := range s.outerGround[i] {
			s.whole = s.whole || g.cell(at.Point) || g.takes(s.pair(s.t).cand.beyond[i], slice.Index[i])
		}
	}
	return true
}

// takes says whether new ground comes into the stretch that ends at a point, on the side that the engine comes from: then that
// point begins to count.
func (g reached) takes(points []float64, i int) bool {
	for _, k := range []int{i - 1, i + 1} {
		if k >= 0 && k < len(points) && min(points[k], points[i]) < g.to && max(points[k], points[i]) > g.from && (points[i] > points[k]) == (g.old == g.from) {
			return true
		}
	}
	return false
}
