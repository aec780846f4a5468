// Package signal evaluates what a controller computes from its tables, and what that is held against, at an operating
// point and over a box of them.
package signal

import (
	"fmt"
	"math"
	"slices"

	"witnessmark/tables/bounded"
	"witnessmark/tables/definition"
	"witnessmark/tables/units"
)

// Box is a stretch of each input, Point an operating point, both in the order and the units of Space.Inputs.
type (
	Box   = bounded.Box
	Point = [bounded.MaxInputs]float64
)

// Space is the operating points that functions are judged over. Its inputs come with what is built in it, and so do the
// breakpoints between which its cells lie: ask for the cells last. Functions of one space belong together; they share its
// memory, so a space and its functions are not safe for concurrent use.
type Space struct {
	lay     *definition.Layout // declares ranges; nil for none
	inputs  []*input
	epoch   uint64 // counts evaluations, so that each function is worked out once in one of them at the most
	at      latest // point, as a box without a width
	over    latest // box
	quiet   bool   // nothing is noted as looked at
	visit   func(*Function)
	numbers map[string]int          // of the inputs, by quantity
	directs map[[2]string]*Function // inputs, by quantity and unit
}

// Input is a quantity that operating points differ in.
type Input struct {
	Quantity, Unit string
	From, To       float64
	Index          bool // its cells are points
}

type input struct {
	Input
	declared bool
	breaks   []float64
	steps    []float64 // the breakpoints where something steps
	points   []float64 // that count by themselves, without a neighbourhood
	index    []float64 // the points of all index axes, where Index
}

// NewSpace is a space without inputs yet. Those that the layout declares have its ranges and units; without a layout, or
// where it declares none, an input ends at its outermost breakpoints.
func NewSpace(lay *definition.Layout) *Space {
	return &Space{lay: lay, numbers: map[string]int{}, directs: map[[2]string]*Function{}}
}

// input finds an input or adds it, and says how its values become those of the unit.
func (s *Space) input(quantity, unit string) (int, units.Converter, error) {
	i, known := s.numbers[quantity]
	if !known {
		if len(s.inputs) == bounded.MaxInputs {
			return 0, units.Converter{}, fmt.Errorf("%s would be one input too many; allowed: %d", quantity, bounded.MaxInputs)
		}
		in := &input{Input: Input{Quantity: quantity, Unit: unit}}
		if s.lay != nil {
			if d := s.lay.InputOf(quantity); d != nil {
				in.declared, in.Unit, in.From, in.To = true, d.Unit, d.From, d.To
			}
		}
		i = len(s.inputs)
		s.inputs, s.numbers[quantity] = append(s.inputs, in), i
	}
	level, err := units.BetweenQuantities(quantity, s.inputs[i].Unit, quantity, unit)
	return i, level, err
}

// Break adds breakpoints along an input, in the unit given, such as the ends of a stretch that alone is judged.
func (s *Space) Break(quantity, unit string, at ...float64) error {
	f, err := s.Input(quantity, unit)
	if err != nil {
		return err
	}
	in := f.op.(*direct)
	for _, v := range at {
		s.inputs[in.number].breaks = append(s.inputs[in.number].breaks, in.back.Level(v))
	}
	return nil
}

// Inputs are in the order of boxes and points.
func (s *Space) Inputs() []Input {
	out := make([]Input, len(s.inputs))
	for i, in := range s.inputs {
		out[i] = in.Input
		if cells := in.cells(); len(cells) > 0 {
			out[i].From, out[i].To = cells[0].Lo, cells[len(cells)-1].Hi
		}
	}
	return out
}

// Cells are the stretches between neighbouring breakpoints, for each input; none where index axes share no point.
func (s *Space) Cells() [][]bounded.Interval {
	out := make([][]bounded.Interval, len(s.inputs))
	for i, in := range s.inputs {
		out[i] = in.cells()
	}
	return out
}

func (in *input) cells() []bounded.Interval {
	from, to := in.ends()
	if in.Index {
		var out []bounded.Interval
		for _, p := range in.index {
			if p >= from && p <= to {
				out = append(out, bounded.Exactly(p))
			}
		}
		return out
	}
	if from > to { // nothing says where it ends
		return nil
	}
	at := in.joined(from, to)
	var out []bounded.Interval
	if !in.declared && slices.Contains(in.steps, from) { // below the first step, where its earlier side is held
		out = append(out, bounded.Interval{Lo: math.Nextafter(from, math.Inf(-1)), Hi: from})
	}
	for i, v := range at {
		alone := len(at) == 1 || slices.Contains(in.points, v) || i == len(at)-1 && slices.Contains(in.steps, v)
		if alone {
			out = append(out, bounded.Exactly(v))
		}
		if i+1 < len(at) {
			out = append(out, bounded.Interval{Lo: v, Hi: at[i+1]})
		}
	}
	return out
}

// Steps says whether something steps at a place along an input, by its number.
func (s *Space) Steps(input int, at float64) bool {
	return slices.ContainsFunc(s.inputs[input].steps, func(v float64) bool { return math.Abs(v-at) <= 1e-12*math.Abs(at) })
}

// ends are the declared ones, or the outermost breakpoints.
func (in *input) ends() (from, to float64) {
	if in.declared {
		return in.From, in.To
	}
	from, to = math.Inf(1), math.Inf(-1)
	for _, v := range append(slices.Clone(in.breaks), in.index...) {
		from, to = min(from, v), max(to, v)
	}
	return from, to
}

// joined is the breakpoints from end to end, ascending; those that differ by rounding alone are one.
func (in *input) joined(from, to float64) []float64 {
	near := float64(1e-12 * max(math.Abs(from), math.Abs(to)))
	at := []float64{from}
	inner := slices.Clone(in.breaks)
	slices.Sort(inner)
	for _, v := range inner {
		if v > at[len(at)-1]+near && v < to-near {
			at = append(at, v)
		}
	}
	if to > from {
		at = append(at, to)
	}
	return at
}

// onIndex keeps the points that all index axes of an input share.
func (in *input) onIndex(points []float64) {
	if !in.Index {
		in.Index, in.index = true, slices.Clone(points)
		return
	}
	in.index = slices.DeleteFunc(in.index, func(p float64) bool { return !slices.Contains(points, p) })
}
