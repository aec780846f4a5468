package signal

import (
	"cmp"
	"fmt"
	"maps"
	"slices"
	"strings"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/bounded"
	"witnessmark/tables/definition"
)

// Show is signals at an operating point, step by step: each table and signal on the way once, in the order in which the
// formula needs them; a branch that is not taken has no step. The point is quantity to value, in the inputs' units. The
// error says which inputs are missing, not there, or out of their range. Image and definition are the caller's to fill in.
func (v *View) Show(ids []string, at map[string]float64) ([]*calibrationv1.SignalShown, error) {
	signals, functions, err := v.several(ids)
	if err != nil {
		return nil, err
	}
	cell, p, err := v.point(signals, at, "")
	if err != nil {
		return nil, err
	}
	out := make([]*calibrationv1.SignalShown, len(ids))
	for i, s := range signals {
		out[i] = &calibrationv1.SignalShown{Signal: s.ID, Unit: s.Unit, Inputs: map[string]float64{}}
		for _, in := range s.Inputs {
			out[i].Inputs[in.Quantity] = at[in.Quantity]
		}
		v.space.visit = func(f *Function) { out[i].Steps = append(out[i].Steps, f.steps()...) }
		out[i].Value = functions[i].At(&cell, &p)
		v.space.visit = nil
	}
	return out, nil
}

// several are signals by id.
func (v *View) several(ids []string) ([]*definition.Signal, []*Function, error) {
	signals, functions := make([]*definition.Signal, len(ids)), make([]*Function, len(ids))
	for i, id := range ids {
		var err error
		if functions[i], err = v.Signal(id); err != nil {
			return nil, nil, err
		}
		signals[i] = v.set.lay.SignalByID[id]
	}
	return signals, functions, nil
}

// steps are what a function that was just evaluated stands for.
func (f *Function) steps() []*calibrationv1.SignalStep {
	var out []*calibrationv1.SignalStep
	if f.table != nil {
		out = append(out, f.table.step(f.value))
	}
	if f.signal != nil {
		out = append(out, &calibrationv1.SignalStep{Signal: f.signal.ID, Value: f.value, Unit: f.signal.Unit})
	}
	return out
}

// step is a table that was looked up, and where.
func (t *placed) step(value float64) *calibrationv1.SignalStep {
	out := &calibrationv1.SignalStep{Table: t.table.ID, Value: value, Unit: t.table.Unit, At: map[string]float64{}}
	for i, a := range t.table.Axes {
		out.At[cmp.Or(a.Quantity, a.ID)] = t.at[i].of.value
	}
	return out
}

// point is an operating point for signals, and its cell. An input that is swept is left out.
func (v *View) point(signals []*definition.Signal, at map[string]float64, swept string) (cell Box, p Point, err error) {
	for _, quantity := range slices.Sorted(maps.Keys(at)) {
		if v.set.lay.InputOf(quantity) == nil {
			return cell, p, fmt.Errorf("%s is no input; definition %s has %s", quantity, v.set.lay.Name, ranges(v.set.lay.Inputs))
		}
	}
	var missing []*definition.Input
	for _, in := range v.set.lay.Inputs {
		_, given := at[in.Quantity]
		needed := slices.ContainsFunc(signals, func(s *definition.Signal) bool { return slices.Contains(s.Inputs, in) })
		if needed && !given && in.Quantity != swept {
			missing = append(missing, in)
		}
	}
	if missing != nil {
		return cell, p, fmt.Errorf("a value is missing for %s", ranges(missing))
	}
	for i, in := range v.space.inputs {
		value, given := at[in.Quantity]
		if !given {
			continue
		}
		if err := in.takes(value); err != nil {
			return cell, p, err
		}
		p[i], cell[i] = value, bounded.Exactly(value)
	}
	return cell, p, nil
}

func (in *input) takes(value float64) error {
	if !(value >= in.From && value <= in.To) {
		return fmt.Errorf("%s %v is out of its range; allowed: %v to %v %s", in.Quantity, value, in.From, in.To, in.Unit)
	}
	if in.Index && !slices.Contains(in.index, value) {
		return fmt.Errorf("%s %v is none of its points; allowed: %s", in.Quantity, value, strings.Trim(fmt.Sprint(in.index), "[]"))
	}
	return nil
}

// ranges says what inputs there are.
func ranges(inputs []*definition.Input) string {
	out := make([]string, len(inputs))
	for i, in := range inputs {
		out[i] = fmt.Sprintf("%s (%v to %v %s)", in.Quantity, in.From, in.To, in.Unit)
	}
	if len(out) == 0 {
		return "no inputs"
	}
	return strings.Join(out, ", ")
}
