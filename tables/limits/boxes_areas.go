package limits

import (
	"witnessmark/tables/bounded"
	"witnessmark/tables/signal"
)

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
