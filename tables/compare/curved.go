package compare

import (
	"errors"
	"math"
	"slices"

	"witnessmark/tables/bounded"
	"witnessmark/tables/definition"
	"witnessmark/tables/signal"
	"witnessmark/tables/surface"
)

// curved says that a table whose breakpoints moved curves between them: its value is a quotient, or goes by points.
func (c *change) curved() bool {
	return len(c.joints) > 0 && (bends(c.baseTable.Cells) || bends(c.candTable.Cells))
}

// bends says that values are interpolated raw, and then converted.
func bends(c *definition.Cells) bool { return c.Conv.Rational || c.Conv.Points != nil }

// beyond is where one surface lies above another.
type beyond struct {
	cells, undecided int
	bound, atMost    float64 // the excess that no point surpasses: of what was found, and of what was not decided
	worst            bounded.Point
	in               *joint // that holds the worst
}

// mostBoxes bounds what is enclosed of a table, be it of many slices.
const mostBoxes = 200_000

// beyond judges where the candidate's surface lies above the base's, or below it, by more than half a raw
// step; it answers for curved tables too, and between the joined breakpoints.
func (c *change) beyond(up bool) (*beyond, error) {
	all, left := &beyond{}, mostBoxes
	for _, j := range c.joints {
		switch {
		case j.was == nil || j.is == nil:
			return nil, errors.New("it curves between its breakpoints, and its slices do not lie where they did")
		case holdsNone(j.was) || holdsNone(j.is):
			continue
		}
		r, err := c.beyondIn(j, up, max(left, 1))
		if err != nil {
			return nil, err
		}
		left -= r.Boxes
		if found := r.Found[bounded.Introduced]; found.Cells > 0 {
			all.bound = max(all.bound, found.Bound)
			if all.cells == 0 || found.Worst.Beyond > all.worst.Beyond {
				all.worst, all.in = found.Worst, j
			}
			all.cells += found.Cells
		}
		if r.Undecided > 0 {
			all.undecided += r.Undecided
			all.atMost = max(all.atMost, r.UndecidedBound)
		}
	}
	return all, nil
}

// holdsNone says that every cell holds a code that is no value.
func holdsNone(d *surface.Decoded) bool { return d.Off != nil && !slices.Contains(d.Off, false) }

func (c *change) beyondIn(j *joint, up bool, budget int) (*bounded.Result, error) {
	space := signal.NewSpace(nil)
	base, baseStep, err := curve(space, j.was)
	if err != nil {
		return nil, err
	}
	cand, candStep, err := curve(space, j.is)
	if err != nil {
		return nil, err
	}
	step := func(b *bounded.Box) float64 { return max(baseStep(b), candStep(b)) }
	cells := space.Cells()
	return bounded.Judge(&bounded.Problem{
		Cells: cells, Only: c.looksAt(j, cells, signal.Whole(cells, base, cand)), Value: cand, Limit: base, Ceiling: up, Step: step, Budget: budget,
		Tolerance: func(v, l float64) float64 { return halfStep(c.baseTable.Cells, c.candTable.Cells, v, l) },
	}), nil
}

// looksAt tells the cells in which anything may differ: of one conversion those in which raw values do by more than half a
// step, which do not curve, so that corners decide; and none in which a code that is no value has a part. Nil where that is all.
func (c *change) looksAt(j *joint, cells [][]bounded.Interval, valued func([]int) bool) func([]int) bool {
	if !c.one {
		return valued
	}
	base, cand := j.base.Raw(), j.cand.Raw()
	return func(index []int) bool {
		if valued != nil && !valued(index) {
			return false
		}
		for corner := range 1 << len(index) {
			var at [2]float64
			var below [2]bool // a cell's upper end is looked at from inside
			for i, k := range index {
				cell := cells[i][k]
				at[i] = cell.Lo
				if corner>>i&1 == 1 {
					at[i], below[i] = cell.Hi, cell.Hi > cell.Lo
				}
			}
			if !rawAlike(c.candTable.Cells, base.Side(at[0], at[1], below[0], below[1]), cand.Side(at[0], at[1], below[0], below[1])) {
				return true
			}
		}
		return false
	}
}

// rawAlike says whether two raw values are one, to half a step; a float has none.
func rawAlike(c *definition.Cells, p, q float64) bool {
	half := 0.5
	if c.Float {
		half = 0
	}
	return near(p, q, half+float64(c.Relative()*max(math.Abs(p), math.Abs(q), 1)))
}

// curve is a table over a space, and what one raw step makes of its value in a box, rounding at the least.
func curve(space *signal.Space, d *surface.Decoded) (*signal.Function, func(*bounded.Box) float64, error) {
	f, err := space.Table(d)
	if err != nil {
		return nil, nil, err
	}
	raw := func(*bounded.Box) float64 { return wholeStep(d.Table.Cells) }
	if bends(d.Table.Cells) {
		if raw, err = f.RawStep(); err != nil {
			return nil, nil, err
		}
	}
	return f, func(b *bounded.Box) float64 {
		v := f.Over(b, b)
		return max(raw(b), 2*d.Table.Cells.Rounding(v.Lo, v.Hi))
	}, nil
}

// wholeStep is what one raw step of an affine conversion makes; a float has none.
func wholeStep(c *definition.Cells) float64 {
	if c.Float || !c.Conv.Affine() {
		return 0
	}
	return c.Conv.Step()
}
