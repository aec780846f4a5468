package compare

import (
	"fmt"
	"slices"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/bounded"
	"witnessmark/tables/definition"
	"witnessmark/tables/signal"
	"witnessmark/tables/units"
)

// signals reports what the controller computes from something that changed, and how far it moved.
func (s *session) signals() {
	if len(s.changes) == 0 && !s.two {
		return
	}
	base, cand := signal.Open(s.lay, s.base.table), signal.Open(s.candLay, s.cand.table)
	for _, sig := range s.candLay.Signals {
		if !signal.Touched(s.lay, sig, func(id string) bool { return s.byID[id] != nil }) {
			continue
		}
		out := &calibrationv1.SignalReport{Id: sig.ID, Unit: sig.Unit, Proven: slices.Contains(s.in.Proven, sig.ID)}
		for _, t := range sig.Tables {
			out.DependsOn = append(out.DependsOn, t.ID)
		}
		for _, u := range sig.Signals {
			out.DependsOn = append(out.DependsOn, u.ID)
		}
		delta, err := s.signalDelta(sig, base, cand)
		if err != nil {
			s.report.Unjudged = append(s.report.Unjudged, &calibrationv1.Unjudged{Signal: sig.ID, Reason: err.Error()})
		}
		out.Delta = delta
		s.report.Signals = append(s.report.Signals, out)
	}
}

// signalDelta is the extremes of candidate minus base at the same inputs; the error says why there are none.
func (s *session) signalDelta(sig *definition.Signal, base, cand *signal.Set) (*calibrationv1.SignalDelta, error) {
	was := s.lay.SignalByID[sig.ID]
	if was == nil {
		return nil, fmt.Errorf("only the candidate's definition has this signal")
	}
	for _, t := range sig.Tables {
		if why := s.unknown[t.ID]; why != "" {
			return nil, fmt.Errorf("table %s: %s", t.ID, why)
		}
	}
	unit, err := units.BetweenQuantities(was.Quantity, was.Unit, sig.Quantity, sig.Unit)
	if err != nil {
		return nil, err
	}
	space := signal.NewSpace(s.candLay)
	now, err := cand.In(space).Signal(sig.ID)
	if err != nil {
		return nil, fmt.Errorf("in the candidate: %w", err)
	}
	before, err := base.In(space).Signal(sig.ID)
	if err != nil {
		return nil, fmt.Errorf("in the base: %w", err)
	}
	moved := signal.Minus(now, before.In(unit))
	cells := space.Cells()
	valued := signal.Whole(cells, moved) // elsewhere one of the images looks up a code that is no value
	for i, along := range cells {
		if valued == nil && !moved.DependsOn(i) && len(along) > 1 { // all of them are alike
			cells[i] = along[:1]
		}
	}
	least, most, boxes := bounded.Extremes(moved, cells, valued, s.signalStep(sig, now), 0)
	if boxes == 0 {
		return nil, fmt.Errorf("its tables share no operating point")
	}
	return &calibrationv1.SignalDelta{Min: least.Value, Max: most.Value, AtMin: inputsAt(space, &least.Point), AtMax: inputsAt(space, &most.Point)}, nil
}

// signalStep is the finest difference that means anything: the signal's own, or a millionth of its value.
func (s *session) signalStep(sig *definition.Signal, f *signal.Function) func(*bounded.Box) float64 {
	if step := signal.Step(s.candLay, sig); step > 0 {
		return func(*bounded.Box) float64 { return step }
	}
	return func(b *bounded.Box) float64 {
		v := f.Over(b, b)
		return 1e-6 * max(-v.Lo, v.Hi, 0)
	}
}

// inputsAt is an operating point by quantity, in the units that the definition's inputs have.
func inputsAt(space *signal.Space, p *bounded.Point) map[string]float64 {
	at := map[string]float64{}
	for i, in := range space.Inputs() {
		at[in.Quantity] = p.Inputs[i]
	}
	return at
}
