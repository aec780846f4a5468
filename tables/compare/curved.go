package compare

import (
	"math"

	"witnessmark/tables/bounded"
	"witnessmark/tables/definition"
	"witnessmark/tables/signal"
	"witnessmark/tables/surface"
)

// curved says that a table whose breakpoints moved curves between them: its value is a quotient.
func (c *change) curved() bool {
	return c.joint != nil && (c.baseTable.Cells.Conv.Rational || c.candTable.Cells.Conv.Rational)
}

// beyond judges where the candidate's surface lies above the base's, or below it, by more than half a raw
// step; it answers for curved tables too, and between the joined breakpoints.
func (c *change) beyond(up bool) (*bounded.Result, error) {
	space := signal.NewSpace(nil)
	base, baseStep, err := curve(space, c.base)
	if err != nil {
		return nil, err
	}
	cand, candStep, err := curve(space, c.cand)
	if err != nil {
		return nil, err
	}
	step := func(b *bounded.Box) float64 { return max(baseStep(b), candStep(b)) }
	cells := space.Cells()
	return bounded.Judge(&bounded.Problem{
		Cells: cells, Only: c.rawDiffers(cells), Value: cand, Limit: base, Ceiling: up, Step: step,
		Tolerance: func(v, l float64) float64 { return halfStep(c.baseTable.Cells, c.candTable.Cells, v, l) },
	}), nil
}

// rawDiffers tells, of one conversion, the cells in which raw values differ by more than half a step. They do
// not curve, so that corners decide; nil where the conversions are two.
func (c *change) rawDiffers(cells [][]bounded.Interval) func([]int) bool {
	if c.baseTable.Cells != c.candTable.Cells {
		return nil
	}
	base, cand := c.joint.base.Raw(), c.joint.cand.Raw()
	return func(index []int) bool {
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
	if d.Table.Cells.Conv.Rational {
		if raw, err = f.RawStep(); err != nil {
			return nil, nil, err
		}
	}
	return f, func(b *bounded.Box) float64 {
		v := f.Over(b, b)
		return max(raw(b), 2*rounding(d.Table.Cells, v.Lo, v.Hi))
	}, nil
}

// wholeStep is what one raw step of an affine conversion makes; a float has none.
func wholeStep(c *definition.Cells) float64 {
	if c.Float || !c.Conv.Affine() {
		return 0
	}
	return c.Conv.Step()
}
