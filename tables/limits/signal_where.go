package limits

import (
	"fmt"
	"maps"
	"math"
	"slices"
	"strings"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/bounded"
	"witnessmark/tables/signal"
)

// holdAll judges the signal by each edge, where the rule holds.
func (o *sounding) holdAll(edges ...edge) error {
	in, err := o.whereFed()
	if err != nil {
		return err
	}
	stretches, err := o.inputsWhere()
	if err != nil {
		return err
	}
	cells := clipped(o.space, stretches) // now that all inputs are known
	fed := in
	for _, e := range edges {
		met := false
		in, inBase := o.valued(in, &met, o.now, e.now), o.valued(in, new(bool), o.was, e.was)
		a := area{cells: cells}
		o.value, o.base = o.now, nil
		if o.was != nil {
			o.base = o.was
		}
		if inBase != nil && o.was != nil {
			o.base = &confined{o.was, inBase, e.ceiling}
		}
		switch {
		case in != nil:
			o.value, a.apart = &confined{o.now, in, e.ceiling}, &apart{o.now, e.now, e.less, in, e.ceiling}
		case e.less != nil && e.was == nil:
			a.alongWhatMatters(e.less)
		}
		if e.still && o.moved != nil && e.was == nil {
			if fed == nil {
				o.looked++ // at all of it, of which the most has not moved
			}
			a.only = o.whereMoved(a.cells)
		}
		o.areas = []area{a}
		if o.hold(e); met {
			o.undone = o.codesMet()
		}
	}
	return nil
}

// valued confines to where functions look up values alone, and notes in met where they do not; nil is a function that
// there is not.
func (o *sounding) valued(in whereFed, met *bool, of ...*signal.Function) whereFed {
	in = in[:len(in):len(in)]
	for _, f := range of {
		if f == nil {
			continue
		}
		if by := f.Valued(); by != nil {
			in = append(in, fedStretch{stretch{1, 1}, []*signal.Function{by}, met})
		}
	}
	return in
}

// codesMet says which tables hold codes that are no value.
func (o *sounding) codesMet() error {
	var met []string
	for _, t := range o.sig.Tables {
		if d := o.in.Candidate(t.ID); d != nil && d.Off != nil {
			met = append(met, fmt.Sprintf("%d of table %s", count(d.Off), t.ID))
		}
	}
	if met == nil {
		return unjudged("passed over where what the limit goes by looks up a code that is no value")
	}
	return unjudged("passed over where it looks up a cell that is no value: %s", strings.Join(met, ", "))
}

// whereMoved picks the cells where the value may not be the base's.
func (o *sounding) whereMoved(cells [][]bounded.Interval) func(index []int) bool {
	index := boxOf(cells)
	return func(n []int) bool {
		up, down, known := o.moved(index(n))
		return up || down || !known
	}
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

// boxOf is the cell of an index.
func boxOf(cells [][]bounded.Interval) func(index []int) *bounded.Box {
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

// whereFed is where the rule holds of what signals feed; nil for everywhere.
func (o *sounding) whereFed() (whereFed, error) {
	var in whereFed
	for q, w := range o.whereOf(true) {
		f := fedStretch{stretch: stretch{math.Inf(-1), math.Inf(1)}}
		if w.From != nil {
			f.from = *w.From
		}
		if w.To != nil {
			f.to = *w.To
		}
		for _, ref := range o.refs {
			at, err := ref.Quantity(q, w.GetUnit())
			if err != nil {
				return nil, unjudged("%v", err)
			}
			f.by = append(f.by, at)
		}
		in = append(in, f)
	}
	return in, nil
}
