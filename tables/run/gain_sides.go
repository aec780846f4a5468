package run

import (
	"errors"
	"fmt"
	"math"
	"slices"
)

// designOf takes the order from the pulls if all have one.
func designOf(before, after []*Pull) *design {
	d := &design{}
	known := true
	for side, pulls := range [][]*Pull{before, after} {
		for _, p := range pulls {
			d.after, d.order = append(d.after, side == 1), append(d.order, float64(p.Order))
			known = known && p.Order > 0
		}
	}
	if !known {
		for i := range d.order {
			d.order[i] = float64(i + 1)
		}
	}
	return d
}

// once leaves a recording out that a side has already, since it says nothing of what runs differ by; one
// that is on both sides is an error.
func once(before, after []*Pull) (b, a []*Pull, remarks []Remark, err error) {
	for side, pulls := range [][]*Pull{before, after} {
		for _, p := range pulls {
			same := func(o *Pull) bool { return p.sameAs(o) }
			if i := slices.IndexFunc(b, same); i >= 0 && side == 1 {
				return nil, nil, nil, fmt.Errorf("%s and %s are one recording; allowed: other runs before than after", b[i].Name, p.Name)
			}
			mine := &b
			if side == 1 {
				mine = &a
			}
			if i := slices.IndexFunc(*mine, same); i >= 0 {
				remarks = append(remarks, Remark{"twice", 0, fmt.Sprintf("%s and %s are one recording: it counts once", (*mine)[i].Name, p.Name)})
				continue
			}
			*mine = append(*mine, p)
		}
	}
	return b, a, remarks, nil
}

// mayCompare refuses runs that must not be compared.
func mayCompare(pulls []*Pull) error {
	first, c := pulls[0].Name, pulls[0].Curve
	for _, p := range pulls[1:] {
		o := p.Curve
		switch {
		case o.Place != c.Place:
			return fmt.Errorf("%s is torque at the %s and %s at the %s: the two are never compared", first, c.Place, p.Name, o.Place)
		case o.Correction.Standard != c.Correction.Standard:
			return fmt.Errorf("%s is corrected by %s and %s by %s: runs corrected differently are not compared", first, c.Correction.Title, p.Name, o.Correction.Title)
		case o.Step != c.Step:
			return fmt.Errorf("%s has a grid of %g 1/min and %s one of %g: one grid is needed", first, c.Step, p.Name, o.Step)
		}
	}
	return nil
}

// band finds the engine speeds from low to high that every run has; 0 is no bound.
func (c *comparison) band(low, high float64) error {
	if math.IsNaN(low) || math.IsNaN(high) || low < 0 || high < 0 || high != 0 && high <= low {
		return fmt.Errorf("a band of %g to %g 1/min; allowed: the lower engine speed first", low, high)
	}
	if high == 0 {
		high = math.Inf(1)
	}
	c.torque = make([][]float64, len(c.pulls))
	var from, to float64
	for _, at := range c.pulls[0].Curve.Points {
		row := make([]float64, 0, len(c.pulls))
		for _, p := range c.pulls {
			if t, ok := p.torque(at.Speed); ok {
				row = append(row, t)
			}
		}
		if len(row) < len(c.pulls) {
			continue
		}
		if from == 0 {
			from = at.Speed
		}
		if to = at.Speed; at.Speed < low || at.Speed > high {
			continue
		}
		c.grid = append(c.grid, at.Speed)
		for i, t := range row {
			c.torque[i] = append(c.torque[i], t)
		}
	}
	switch {
	case to == from:
		return errors.New("the runs have no two engine speeds in common")
	case low != 0 && low < from || !math.IsInf(high, 1) && high > to || len(c.grid) < 2:
		return fmt.Errorf("a band of %g to %g 1/min; allowed: inside %g to %g, which every run covers", low, high, from, to)
	}
	return nil
}
