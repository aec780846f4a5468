package signal

import (
	"fmt"
	"maps"
	"math"
	"slices"

	"witnessmark/tables/bounded"
	"witnessmark/tables/definition"
	"witnessmark/tables/units"
)

// Section is a signal of two images along one input, the others held: in the candidate's unit, ascending along the input.
// Where either steps, two points lie at one place. A value is NaN where there is no finite one.
type Section struct {
	Input           *definition.Input
	Breaks          []float64 // those of X that are breakpoints, each once
	X               []float64
	Base, Candidate []float64
}

// Strongest is the section through an operating point along the input that the difference of the two images varies most
// with, and where it varies with none, that the candidate does. Between two breakpoints there are so many stretches, 1 or
// more: a signal may curve there. The operating point's place is among them. The error says what an image lacks, or of the point what is missing or out of its range.
func Strongest(base, candidate *Set, id string, at map[string]float64, stretches int) (*Section, error) {
	s := candidate.lay.SignalByID[id]
	if s == nil {
		return nil, fmt.Errorf("definition %s has no signal %q", candidate.lay.Name, id)
	}
	if len(s.Inputs) == 0 {
		return nil, fmt.Errorf("signal %s depends on no input", id)
	}
	var best *Section
	var most [2]float64
	for _, in := range s.Inputs {
		c, err := along(base, candidate, s, in, at, 1)
		if err != nil {
			return nil, err
		}
		reach := [2]float64{spread(c.Candidate, c.Base), spread(c.Candidate, nil)}
		if best == nil || reach[0] > most[0] || reach[0] == most[0] && reach[1] > most[1] {
			best, most = c, reach
		}
	}
	if stretches == 1 {
		return best, nil
	}
	return along(base, candidate, s, best.Input, at, stretches)
}

func along(base, candidate *Set, s *definition.Signal, in *definition.Input, at map[string]float64, stretches int) (*Section, error) {
	space := NewSpace(candidate.lay)
	view := candidate.In(space)
	now, err := view.Signal(s.ID)
	if err != nil {
		return nil, err
	}
	was, err := base.signalFor(space, s)
	if err != nil {
		return nil, fmt.Errorf("the base: %w", err)
	}
	held := maps.Clone(at)
	delete(held, in.Quantity)
	cell, p, err := view.point([]*definition.Signal{s}, held, in.Quantity)
	if err != nil {
		return nil, err
	}
	n, err := view.along(in.Quantity)
	if err != nil {
		return nil, err
	}
	out := &Section{Input: in}
	for _, c := range space.inputs[n].cells() {
		cell[n] = c
		out.Breaks = append(out.Breaks, c.Lo, c.Hi)
		for _, x := range places(c, at[in.Quantity], stretches) {
			p[n] = x
			out.add(x, was.At(&cell, &p), now.At(&cell, &p))
		}
	}
	out.Breaks = slices.Compact(out.Breaks)
	return out, nil
}

// places divide a cell into stretches, and have the operating point among them.
func places(c bounded.Interval, at float64, stretches int) []float64 {
	out := []float64{c.Lo}
	for k := 1; k < stretches; k++ {
		out = append(out, c.Lo+float64((c.Hi-c.Lo)*float64(k))/float64(stretches))
	}
	if c.Lo < at && at < c.Hi {
		out = append(out, at)
	}
	slices.Sort(out)
	return append(out, c.Hi)
}

// signalFor is a signal of another software in the unit of this one, from the same inputs.
func (s *Set) signalFor(space *Space, as *definition.Signal) (*Function, error) {
	f, err := s.In(space).Signal(as.ID)
	if err != nil {
		return nil, err
	}
	was := s.lay.SignalByID[as.ID]
	if len(space.inputs) > len(as.Inputs) {
		return nil, fmt.Errorf("signal %s depends on other inputs there: %s", as.ID, ranges(was.Inputs))
	}
	level, err := units.BetweenQuantities(was.Quantity, was.Unit, as.Quantity, as.Unit)
	if err != nil {
		return nil, err
	}
	return f.In(level), nil
}

// add is a place of a section, dropped where it repeats the one before.
func (c *Section) add(x, base, candidate float64) {
	same := func(of []float64, v float64) bool {
		last := of[len(of)-1]
		return last == v || math.IsNaN(last) && math.IsNaN(v)
	}
	if len(c.X) > 0 && same(c.X, x) && same(c.Base, base) && same(c.Candidate, candidate) {
		return
	}
	c.X, c.Base, c.Candidate = append(c.X, x), append(c.Base, base), append(c.Candidate, candidate)
}

// spread is how far values, less others where there are any, lie apart; what is not finite is passed over.
func spread(of, less []float64) float64 {
	lo, hi := math.Inf(1), math.Inf(-1)
	for i, v := range of {
		if less != nil {
			v -= less[i]
		}
		if !math.IsNaN(v) {
			lo, hi = min(lo, v), max(hi, v)
		}
	}
	return max(hi-lo, 0)
}
