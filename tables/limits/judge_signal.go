package limits

import (
	"fmt"
	"maps"
	"math"
	"slices"
	"strings"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/bounded"
	"witnessmark/tables/definition"
	"witnessmark/tables/formula"
	"witnessmark/tables/signal"
	"witnessmark/tables/surface"
	"witnessmark/tables/units"
)

// signals judges those that a rule names and that depend on something that changed, in definition order.
func (j *judge) signals(k *kind, r *calibrationv1.Rule) {
	if k.ofSignal == nil || k.needsBase && j.in.Check {
		return
	}
	for _, sig := range j.lay.Signals {
		if slices.Contains(r.GetSelect().GetSignals(), sig.ID) && j.touched(sig) {
			s := &subject{judge: j, kind: k, rule: r, sig: sig, unit: sig.Unit}
			s.write(s.ofSignal())
		}
	}
}

// touched says whether anything changed that a signal depends on. In a check everything counts.
func (j *judge) touched(sig *definition.Signal) bool {
	if j.in.Check || slices.ContainsFunc(sig.Tables, func(t *definition.Table) bool { return j.changed[t.ID] }) {
		return true
	}
	was := j.in.Layout.SignalByID[sig.ID]
	return was == nil || was != sig && (was.Source.GetValue() != sig.Source.GetValue() || was.Unit != sig.Unit)
}

// sounding is a signal while it is judged.
type sounding struct {
	boxes
	view *signal.View
	refs []*signal.View // what gives the quantities that limits go by
}

// ofSignal judges the signal, and notes which tables were looked at on the way.
func (s *subject) ofSignal() error {
	for _, t := range s.sig.Tables {
		if err := s.known(t.ID); err != nil {
			return unjudged("table %s: %v", t.ID, err)
		}
	}
	o := &sounding{boxes: boxes{subject: s, space: signal.NewSpace(s.lay)}}
	if err := o.open(); err != nil {
		return err
	}
	if err := s.kind.ofSignal(o); err != nil {
		return err
	}
	switch {
	case s.looked > 0:
	case len(s.rule.GetWhere()) == 0:
		return unjudged("its tables share no operating point")
	default:
		return errPassed{"no operating point lies where the rule holds"}
	}
	for _, id := range o.view.Looked() {
		if by := s.out.Through[id]; len(by) == 0 || by[len(by)-1] != s.rule.GetId() {
			s.out.Through[id] = append(by, s.rule.GetId())
		}
	}
	return nil
}

// open takes the signal out of both images.
func (o *sounding) open() error {
	var err error
	o.view = o.set(ofCandidate).In(o.space)
	if o.value, err = o.view.Signal(o.sig.ID); err != nil {
		return unjudged("%v", err)
	}
	if !o.in.Check {
		if o.base, err = o.signalOf(ofBase); err != nil {
			o.detail = "the base could not be judged: " + err.Error()
		}
	}
	step := signal.Step(o.lay, o.sig)
	o.step = func(*bounded.Box) float64 { return step }
	o.tally = &tally{check: o.in.Check, step: step}
	for _, t := range o.sig.Tables {
		o.tally.relative = max(o.tally.relative, t.Cells.Relative())
	}
	if len(o.sig.Tables) == 0 {
		o.tally.relative = 1e-9
	}
	o.refs = o.references()
	o.moved = o.tablesMoved()
	return nil
}

// set is one image's tables, as signals look them up.
func (j *judge) set(of whose) *signal.Set {
	if j.sets[of] == nil {
		lay := j.in.Layout
		if of == ofCandidate {
			lay = j.lay
		}
		j.sets[of] = signal.Open(lay, j.tables(of))
	}
	return j.sets[of]
}

// signalOf is the signal of another image, in the unit that is judged.
func (o *sounding) signalOf(of whose) (*signal.Function, error) {
	was := o.in.Layout.SignalByID[o.sig.ID]
	if was == nil {
		return nil, fmt.Errorf("its definition has no signal %s", o.sig.ID)
	}
	unit, err := units.BetweenQuantities(was.Quantity, was.Unit, o.sig.Quantity, o.sig.Unit)
	if err != nil {
		return nil, err
	}
	f, err := o.set(of).In(o.space).Signal(was.ID)
	if err != nil {
		return nil, err
	}
	return f.In(unit), nil
}

// references are the images whose quantities limits go by: the base's, since what the engine breathes does not change with
// what a table says of it; and where a sensor of what feeds them is another one, the candidate's as well.
func (o *sounding) references() []*signal.View {
	candidate := o.set(ofCandidate).In(o.space)
	if o.in.Check || o.base == nil {
		return []*signal.View{candidate}
	}
	refs := []*signal.View{o.set(ofBase).In(o.space)}
	for q := range indexing(o.rule) {
		for _, f := range o.lay.Feeders(q) {
			if o.fitted(f.Inputs) != "" {
				return append(refs, candidate)
			}
		}
	}
	return refs
}

// fitted is the first of some inputs whose sensor is another one, as the job says; empty for none.
func (s *subject) fitted(inputs []*definition.Input) string {
	for _, in := range inputs {
		if in.Fitted != "" && s.in.Job.GetNumbers()[in.Fitted] != 0 {
			return in.Quantity
		}
	}
	return ""
}

// tablesMoved knows that the signal is the base's in cells where every table that it depends on is.
func (o *sounding) tablesMoved() moved {
	if o.base == nil || o.in.CandidateLayout != nil {
		return nil
	}
	now, was := o.set(ofCandidate).In(o.space), o.set(ofBase).In(o.space)
	type pair struct {
		now, was *signal.Function
		along    [2]int
	}
	var pairs []pair
	for _, t := range o.sig.Tables {
		if !o.changed[t.ID] {
			continue
		}
		p := pair{along: [2]int{-1, -1}}
		for i, feed := range []*definition.Feed{t.XFeed, t.YFeed} {
			if axesOf(t)[i] == nil {
				continue
			}
			if feed == nil || feed.Input == nil {
				return nil // where it is looked up may have moved
			}
			p.along[i] = slices.IndexFunc(o.space.Inputs(), func(in signal.Input) bool { return in.Quantity == feed.Input.Quantity })
		}
		var err, also error
		if p.now, err = now.Table(t.ID); err == nil {
			p.was, also = was.Table(t.ID)
		}
		if err != nil || also != nil || t.Cells.Conv.Rational {
			return nil
		}
		pairs = append(pairs, p)
	}
	return func(cell *bounded.Box) (up, down, known bool) {
		for _, p := range pairs {
			if !sameAtCorners(cell, p.along, p.now, p.was) {
				return false, false, false
			}
		}
		return false, false, true
	}
}

func sameAtCorners(cell *bounded.Box, along [2]int, a, b *signal.Function) bool {
	var at signal.Point
	for i, c := range cell {
		at[i] = c.Lo
	}
	for _, x := range corners(cell, along[0]) {
		for _, y := range corners(cell, along[1]) {
			for k, v := range [2]station{x, y} {
				if along[k] >= 0 {
					at[along[k]] = v.v
				}
			}
			if p, q := a.At(cell, &at), b.At(cell, &at); p != q {
				return false
			}
		}
	}
	return true
}

// holdAll judges the signal by each edge, where the rule holds.
func (o *sounding) holdAll(edges ...edge) error {
	stretches, err := o.inputsWhere()
	if err != nil {
		return err
	}
	cells := o.space.Cells()
	for i, w := range stretches {
		cells[i] = clip(cells[i], w)
	}
	value, base := o.value, o.base
	for _, e := range edges {
		a := area{cells: cells}
		if e.still && o.moved != nil && e.was == nil { // what is the base's has not moved
			o.looked++
			index := o.box(cells)
			a.only = func(n []int) bool { _, _, known := o.moved(index(n)); return !known }
		}
		o.areas = []area{a}
		if o.value, err = o.where(value, e.ceiling); err != nil {
			return err
		}
		if base != nil {
			if o.base, err = o.where(base, e.ceiling); err != nil {
				return err
			}
		}
		o.hold(e)
	}
	o.value, o.base = value, base
	if o.tally.judged && math.Abs(o.tally.least.value) >= outside {
		o.tally.judged, o.looked = false, 0
	}
	return nil
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

func (o *sounding) inRange() error {
	r := o.rule.GetRange()
	unit, err := levels(o.sig.Quantity, r.GetUnit(), o.sig.Quantity, o.sig.Unit)
	if err != nil {
		return err
	}
	var edges []edge
	if r.Max != nil {
		f := o.space.Number(unit.of(*r.Max))
		edges = append(edges, edge{now: f, was: f, ceiling: true})
	}
	if r.Min != nil {
		f := o.space.Number(unit.of(*r.Min))
		edges = append(edges, edge{now: f, was: f})
	}
	return o.holdAll(edges...)
}

// underEnvelope holds the signal against the envelope at the references' quantities: the worse of them counts.
func (o *sounding) underEnvelope() error {
	e := o.rule.GetEnvelope()
	unit, err := levels(o.sig.Quantity, e.GetUnit(), o.sig.Quantity, o.sig.Unit)
	if err != nil {
		return err
	}
	grid := &surface.Grid{X: e.GetX().GetPoints(), Y: []float64{0}}
	if e.GetY() != nil {
		grid.Y = e.GetY().GetPoints()
	}
	for _, row := range e.GetValues() {
		for _, v := range row.GetValues() {
			grid.Values = append(grid.Values, unit.of(v.GetNumberValue()))
		}
	}
	ceiling := e.GetSide() != "min"
	var limits []*signal.Function
	for _, ref := range o.refs {
		var at [2]*signal.Function
		for i, a := range []*calibrationv1.EnvelopeAxis{e.GetX(), e.GetY()} {
			if a == nil {
				continue
			}
			if at[i], err = ref.Quantity(a.GetQuantity(), a.GetUnit()); err != nil {
				return unjudged("%v", err)
			}
		}
		limits = append(limits, o.space.Lookup(grid, at[0], at[1]))
	}
	limit, worse := limits[0], formula.Max
	if ceiling {
		worse = formula.Min
	}
	if len(limits) > 1 {
		limit = signal.Apply(worse, limits...)
	}
	return o.holdAll(edge{now: limit, was: limits[0], ceiling: ceiling})
}

// changeWithin compares both images at the same inputs.
func (o *sounding) changeWithin() error {
	if q := o.fitted(o.sig.Inputs); q != "" {
		return unjudged("another sensor of %s is fitted: the same reading is not the same %s", spaced(q), spaced(o.sig.Quantity))
	}
	c, from := o.rule.GetChange(), o.base
	if from == nil {
		return unjudged("the base has nothing to compare with")
	}
	since := c.GetSince() != ""
	if since {
		if o.in.AsFound == nil {
			return unjudged("the image as found was not given")
		}
		var err error
		if from, err = o.signalOf(ofAsFound); err != nil {
			return unjudged("the signal as found: %v", err)
		}
	}
	percent, up, down, err := o.steps()
	if err != nil {
		return err
	}
	var edges []edge
	for _, most := range []*float64{up, down} {
		if most == nil {
			continue
		}
		e := edge{ceiling: most == up, still: true}
		by := math.Copysign(*most, map[bool]float64{true: 1, false: -1}[e.ceiling])
		add := o.space.Number(by)
		if percent {
			size := signal.Apply(formula.Max, from, signal.Apply(formula.Neg, from), o.space.Number(o.tally.step))
			add = signal.Apply(formula.Mul, size, o.space.Number(by))
		}
		if e.now = signal.Apply(formula.Add, from, add); since {
			e.was = e.now
		}
		edges = append(edges, e)
	}
	return o.holdAll(edges...)
}

func spaced(quantity string) string { return strings.ReplaceAll(quantity, "_", " ") }
