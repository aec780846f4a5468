package limits

import (
	"fmt"
	"maps"
	"slices"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/bounded"
	"witnessmark/tables/definition"
	"witnessmark/tables/signal"
	"witnessmark/tables/units"
)

// signals judges those that a rule names and that depend on something that changed, in definition order.
func (j *judge) signals(k *kind, r *calibrationv1.Rule) {
	if k.ofSignal == nil || k.needsBase && j.in.Check {
		return
	}
	for _, sig := range j.lay.Signals {
		if slices.Contains(r.GetSelect().GetSignals(), sig.ID) && (j.in.Check || signal.Touched(j.in.Layout, sig, func(id string) bool { return j.isChanged(id) })) {
			s := &subject{judge: j, kind: k, rule: r, sig: sig, unit: sig.Unit}
			s.write(s.ofSignal())
		}
	}
}

// sounding is a signal while it is judged.
type sounding struct {
	boxes
	now, was *signal.Function // was is nil where there is no base
	view     *signal.View
	refs     []*signal.View // what gives the quantities that limits go by
}

// ofSignal judges the signal, and notes which tables were looked at on the way.
func (s *subject) ofSignal() error {
	if err := s.knownAll(s.sig.Tables); err != nil {
		return err
	}
	o := &sounding{boxes: boxes{subject: s, space: signal.NewSpace(s.lay)}}
	if err := o.open(); err != nil {
		return err
	}
	if err := o.references(); err != nil {
		return err
	}
	if err := s.kind.ofSignal(o); err != nil {
		return err
	}
	switch {
	case s.looked > 0:
	case s.undone != nil:
		return s.undone
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
	if o.now, err = o.view.Signal(o.sig.ID); err != nil {
		return unjudged("%v", err)
	}
	if !o.in.Check {
		if o.was, err = o.signalOf(ofBase); err != nil {
			o.detail = "the base could not be judged: " + err.Error()
		}
	}
	step := signal.Step(o.lay, o.sig)
	o.step = func(*bounded.Box) float64 { return step }
	o.tally = tally{check: o.in.Check, step: step}
	for _, t := range o.sig.Tables {
		o.tally.relative = max(o.tally.relative, t.Cells.Relative())
	}
	if len(o.sig.Tables) == 0 {
		o.tally.relative = 1e-9
	}
	if o.was != nil {
		less := signal.Minus(o.now, o.was)
		o.moved = func(cell *bounded.Box) (up, down, known bool) {
			d := less.Over(cell, cell)
			return d.Hi > 0, d.Lo < 0, !d.Undefined
		}
	}
	return nil
}

// set is one image's tables, as signals look them up.
func (j *judge) set(of whose) *signal.Set {
	if j.sets[of] == nil {
		lay := j.in.Layout
		if of == ofCandidate {
			lay = j.lay
		}
		j.sets[of] = signal.OpenNumbered(lay, j.tables(of))
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
func (o *sounding) references() error {
	another, ofBaseToo := false, !o.in.Check && o.was != nil
	for _, q := range slices.Sorted(maps.Keys(indexing(o.rule))) {
		feeders := o.lay.Feeders(q)
		ofBaseToo = ofBaseToo && len(feeders) == len(o.in.Layout.Feeders(q)) // another software may not compute it
		for _, f := range feeders {
			if err := o.knownAll(f.Tables); err != nil {
				return err
			}
			another = another || o.fitted(f.Inputs) != ""
		}
	}
	if ofBaseToo {
		o.refs = append(o.refs, o.set(ofBase).In(o.space))
	}
	if another || len(o.refs) == 0 {
		o.refs = append(o.refs, o.set(ofCandidate).In(o.space))
	}
	return nil
}

// knownAll says which of the tables cannot be read.
func (s *subject) knownAll(tables []*definition.Table) error {
	for _, t := range tables {
		if err := s.known(t.ID); err != nil {
			return unjudged("table %s: %v", t.ID, err)
		}
	}
	return nil
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
