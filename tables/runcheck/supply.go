package runcheck

import (
	"errors"
	"fmt"
	"slices"
	"strings"

	"google.golang.org/protobuf/proto"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/bounded"
	"witnessmark/tables/definition"
	"witnessmark/tables/run"
	"witnessmark/tables/signal"
	"witnessmark/tables/units"
)

// recordedOver is a layout in which a quantity that signals feed is an input, where the run recorded the quantity itself
// and not all that the signals need: the controller's own number, written down.
func recordedOver(lay *definition.Layout, r *run.Run) (*definition.Layout, error) {
	var taken []*definition.Signal
	for _, s := range lay.Signals {
		_, recorded := r.Values(s.Quantity)
		if s.Feeds && recorded && slices.ContainsFunc(lay.Feeders(s.Quantity), func(f *definition.Signal) bool { return lacking(f.Inputs, r) != nil }) {
			taken = append(taken, s)
		}
	}
	if taken == nil {
		return lay, nil
	}
	d := proto.CloneOf(lay.Source)
	for _, s := range taken {
		for _, own := range d.Signals {
			own.Feeds = own.Feeds && own.Id != s.ID
		}
		for _, a := range d.Axes {
			a.From = other(a.From, s.ID)
		}
		for _, t := range d.Tables {
			for _, a := range append([]*calibrationv1.TableAxis{t.X, t.Y}, t.Axes...) {
				if a != nil {
					a.From = other(a.From, s.ID)
				}
			}
		}
		if !slices.ContainsFunc(d.Inputs, func(in *calibrationv1.InputRange) bool { return in.Quantity == s.Quantity }) {
			d.Inputs = append(d.Inputs, &calibrationv1.InputRange{Quantity: s.Quantity, Unit: s.Unit, From: -1e30, To: 1e30})
		}
	}
	out, err := definition.Compile(lay.Name, nil, d)
	if err != nil {
		return nil, fmt.Errorf("with %s as the run recorded it: %w", taken[0].Quantity, err)
	}
	return out, nil
}

func other(from, than string) string {
	if from == than {
		return ""
	}
	return from
}

// lacking are the inputs that are no channels of the run.
func lacking(inputs []*definition.Input, r *run.Run) (out []string) {
	for _, in := range inputs {
		if _, ok := r.Values(in.Quantity); !ok {
			out = append(out, in.Quantity)
		}
	}
	return out
}

// channel is a quantity of the run in a unit.
type channel struct {
	quantity string
	values   []float32
	level    units.Converter
	hole     func(i int) bool
}

func (c *channel) at(i int) float64 { return c.level.Level(float64(c.values[i])) }

func (c *check) channel(quantity, unit string) (*channel, error) {
	values, ok := c.Run.Values(quantity)
	if !ok {
		return nil, fmt.Errorf("the run has no channel of %s", quantity)
	}
	level, err := units.BetweenQuantities(quantity, c.Run.Unit(quantity), quantity, unit)
	if err != nil {
		return nil, fmt.Errorf("the run's %s: %w", quantity, err)
	}
	return &channel{quantity, values, level, c.Run.Holed(quantity)}, nil
}

// probe evaluates the functions of a space at the run's samples.
type probe struct {
	inputs []*channel
	cell   signal.Box
	point  signal.Point
}

// probe finds a channel for each input of a space, which is complete by then.
func (c *check) probe(space *signal.Space) (*probe, error) {
	p := &probe{}
	var missing []string
	for _, in := range space.Inputs() {
		if in.Nameless() {
			return nil, errors.New("one of its axes has no quantity, which no channel shows")
		}
		ch, err := c.channel(in.Quantity, in.Unit)
		if _, ok := c.Run.Values(in.Quantity); !ok {
			missing = append(missing, in.Quantity)
		} else if err != nil {
			return nil, err
		}
		p.inputs = append(p.inputs, ch)
	}
	if missing != nil {
		return nil, fmt.Errorf("the run has no channel of %s", strings.Join(missing, ", "))
	}
	return p, nil
}

// move goes to a sample; false where one of the channels has no value.
func (p *probe) move(i int) bool {
	for n, in := range p.inputs {
		if in.hole(i) {
			return false
		}
		v := in.at(i)
		p.point[n], p.cell[n] = v, bounded.Exactly(v)
	}
	return true
}

func (p *probe) value(f *signal.Function) float64 { return f.At(&p.cell, &p.point) }
