package limits

import (
	"maps"
	"math"
	"slices"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/bounded"
	"witnessmark/tables/formula"
	"witnessmark/tables/signal"
)

// holdAll judges the signal by each edge, where the rule holds.
func (o *sounding) holdAll(edges ...edge) error {
	values := make([][2]*signal.Function, len(edges)) // and the base's
	for i, e := range edges {
		for k, f := range []*signal.Function{o.value, o.base} {
			if f == nil {
				continue
			}
			var err error
			if values[i][k], err = o.where(f, e.ceiling); err != nil {
				return err
			}
		}
	}
	stretches, err := o.inputsWhere()
	if err != nil {
		return err
	}
	cells := o.space.Cells() // now that all inputs are known
	for i, w := range stretches {
		cells[i] = clip(cells[i], w)
	}
	for i, e := range edges {
		o.value, o.base = values[i][0], values[i][1]
		o.areas = []area{o.area(&e, cells)}
		o.hold(e)
	}
	return nil
}

// area is the cells to be judged by an edge: where the value cannot have moved it need not be held against what it was.
func (o *sounding) area(e *edge, cells [][]bounded.Interval) area {
	a := area{cells: cells}
	switch {
	case o.confinedByFed():
		e.apart = nil
	case e.apart != nil && e.was == nil:
		a.alongWhatMatters(e.apart)
	}
	if e.still && o.moved != nil && e.was == nil {
		if !o.confinedByFed() {
			o.looked++ // at all of it
		}
		index := o.box(a.cells)
		a.only = func(n []int) bool {
			up, down, known := o.moved(index(n))
			return up || down || !known
		}
	}
	return a
}

// confinedByFed says whether the rule holds in a stretch of a quantity that a signal feeds.
func (o *sounding) confinedByFed() bool {
	for range o.whereOf(true) {
		return true
	}
	return false
}

// alongWhatMatters keeps one cell along each input that a function does not depend on.
func (a *area) alongWhatMatters(f *signal.Function) {
	a.times, a.cells = 1, slices.Clone(a.cells)
	for i, along := range a.cells {
		if !f.DependsOn(i) && len(along) > 1 {
			a.times *= len(along)
			a.cells[i] = along[:1]
		}
	}
}

// box is the cell of an index.
func (o *sounding) box(cells [][]bounded.Interval) func(index []int) *bounded.Box {
	var box bounded.Box
	return func(index []int) *bounded.Box {
		for i, n := range index {
			box[i] = cells[i][n]
		}
		return &box
	}
}

// inputsWhere are where the rule holds of each input, whose ends become breakpoints.
func (o *sounding) inputsWhere() ([]*stretch, error) {
	var out []*stretch
	for q, w := range o.whereOf(false) {
		if _, err := o.space.Input(q, w.GetUnit()); err != nil {
			return nil, unjudged("%v", err)
		}
	}
	for _, in := range o.space.Inputs() {
		var s *stretch
		if w := o.rule.GetWhere()[in.Quantity]; w != nil && len(o.lay.Feeders(in.Quantity)) == 0 {
			var err error
			if s, err = stretchIn(in.Quantity, w, in.Unit); err != nil {
				return nil, err
			}
			if err := o.space.Break(in.Quantity, in.Unit, s.ends()...); err != nil {
				return nil, err
			}
		}
		out = append(out, s)
	}
	return out, nil
}

// whereOf are the stretches of quantities that signals feed, or of inputs, in the order of their names.
func (s *subject) whereOf(fed bool) func(yield func(string, *calibrationv1.Stretch) bool) {
	where := s.rule.GetWhere()
	return func(yield func(string, *calibrationv1.Stretch) bool) {
		for _, q := range slices.Sorted(maps.Keys(where)) {
			if (len(s.lay.Feeders(q)) > 0) == fed && !yield(q, where[q]) {
				return
			}
		}
	}
}

// outside stands for a value where the rule does not hold: further inside the limit than any.
const outside = 1e300

// where takes a value for inside its limit wherever a quantity that a signal feeds lies outside its stretch, by every reference.
func (o *sounding) where(f *signal.Function, ceiling bool) (*signal.Function, error) {
	none := o.space.Number(math.Copysign(outside, map[bool]float64{true: -1, false: 1}[ceiling]))
	for q, w := range o.whereOf(true) {
		within := none
		for _, ref := range o.refs {
			at, err := ref.Quantity(q, w.GetUnit())
			if err != nil {
				return nil, unjudged("%v", err)
			}
			in := f
			if w.To != nil {
				in = signal.Choose(formula.LessEqual, at, o.space.Number(*w.To), f, within)
			}
			if w.From != nil {
				in = signal.Choose(formula.GreaterEqual, at, o.space.Number(*w.From), in, within)
			}
			within = in
		}
		f = within
	}
	return f, nil
}
