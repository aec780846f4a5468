package definition

import (
	"errors"
	"fmt"
	"math"
	"regexp"
	"strings"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/formula"
	"witnessmark/tables/units"
)

// maxSignals keeps what is worked out for each pair of a signal and a table short.
const maxSignals = 1000

// Signal is a compiled signal.
type Signal struct {
	Source                    *calibrationv1.Signal
	ID, Title, Quantity, Unit string
	Step                      float64 // 0 if the definition states none
	Value                     *formula.Node
	Feeds                     bool
	// What it depends on, also through other signals and through axes, each in the definition's order.
	Tables  []*Table
	Signals []*Signal
	Inputs  []*Input
}

// Input is the range of a quantity that comes from outside.
type Input struct {
	Quantity, Unit string
	From, To       float64
	Fitted         string // the job number that says that another sensor is fitted; empty if none
}

// Feed is where an axis takes its quantity from: a signal, an input, or the curve that it is looked up through.
type Feed struct {
	Signal *Signal         // or nil
	Input  *Input          // or nil
	Curve  *Table          // or nil
	Level  units.Converter // into the axis's unit
}

// Feeders are the signals that feed a quantity, in the definition's order.
func (l *Layout) Feeders(quantity string) []*Signal {
	var all []*Signal
	for _, s := range l.Signals {
		if s.Feeds && s.Quantity == quantity {
			all = append(all, s)
		}
	}
	return all
}

// InputOf is the input of a quantity; nil if there is none.
func (l *Layout) InputOf(quantity string) *Input {
	for _, in := range l.Inputs {
		if in.Quantity == quantity {
			return in
		}
	}
	return nil
}

var numberName = regexp.MustCompile(`^[a-z][a-z0-9_]{0,63}$`)

func (c *compiler) inputs() {
	for i, in := range c.d.GetInputs() {
		if c.wrong(c.input(fmt.Sprintf("inputs[%d]", i), in)) {
			c.lost["quantity "+in.GetQuantity()] = true
			continue
		}
		c.lay.Inputs = append(c.lay.Inputs, &Input{in.GetQuantity(), in.GetUnit(), in.GetFrom(), in.GetTo(), in.GetFitted()})
	}
}

func (c *compiler) input(path string, in *calibrationv1.InputRange) error {
	if err := c.amount(path, in.GetQuantity(), in.GetUnit()); err != nil {
		return err
	}
	if c.lay.InputOf(in.GetQuantity()) != nil {
		return c.at.Errorf(path+".quantity", "one range for each quantity", "%q has a range already", in.GetQuantity())
	}
	if err := c.finite(path, in.GetFrom(), in.GetTo()); err != nil {
		return err
	}
	if in.GetFrom() >= in.GetTo() {
		return c.at.Errorf(path+".to", "an end above from", "from %v to %v", in.GetFrom(), in.GetTo())
	}
	if f := in.GetFitted(); f != "" && !numberName.MatchString(f) {
		return c.at.Errorf(path+".fitted", "the name of a job's number: [a-z][a-z0-9_]*, at most 64", "%.60q is none", f)
	}
	return nil
}

// amount asks for a quantity and its unit.
func (c *compiler) amount(path, quantity, unit string) error {
	if quantity == "" {
		return c.at.Errorf(path+".quantity", "what it measures, as in engine_speed", "the quantity is missing")
	}
	if unit == "" {
		return c.at.Errorf(path+".unit", `a UCUM code, "1" for a number without a unit`, "the unit is missing")
	}
	return nil
}

func (c *compiler) signals() {
	if n := len(c.d.GetSignals()); n > maxSignals {
		c.wrong(c.at.Errorf("signals", fmt.Sprintf("at most %d", maxSignals), "%d signals", n))
		return
	}
	seen := map[string]string{}
	paths := map[*Signal]string{}
	for i, s := range c.d.GetSignals() {
		path := fmt.Sprintf("signals[%d]", i)
		if c.wrong(c.at.ID(path, s.GetId(), seen)) {
			continue
		}
		signal, err := c.signal(path, s)
		if c.wrong(named(err, "signal", s.GetId())) {
			c.lost["signal "+s.GetId()], c.lost["quantity "+s.GetQuantity()] = true, true
			continue
		}
		paths[signal] = path
		c.lay.Signals = append(c.lay.Signals, signal)
		c.lay.SignalByID[signal.ID] = signal
	}
	c.knownFroms()
	c.resolveSignals(paths)
}

// signal checks what a signal says of itself; what it refers to is resolved once all are known.
func (c *compiler) signal(path string, s *calibrationv1.Signal) (*Signal, error) {
	if c.lay.ByID[s.GetId()] != nil {
		return nil, c.at.Errorf(path+".id", "an id that no table has", "a table is called so too")
	}
	if err := c.amount(path, s.GetQuantity(), s.GetUnit()); err != nil {
		return nil, err
	}
	if s.Step != nil && !(s.GetStep() > 0 && s.GetStep() <= math.MaxFloat64) {
		return nil, c.at.Errorf(path+".step", "a finite number above 0", "%v is none", s.GetStep())
	}
	if err := c.observed(path, s.GetObserved(), s.GetQuantity(), s.GetUnit()); err != nil {
		return nil, err
	}
	signal := &Signal{Source: s, ID: s.GetId(), Title: s.GetTitle(), Quantity: s.GetQuantity(), Unit: s.GetUnit(), Step: s.GetStep(), Feeds: s.GetFeeds()}
	if s.GetValue() == "" {
		return nil, c.at.Errorf(path+".value", "an expression, as in table('ignition.base') + table('ignition.intake_air')", "the value is missing")
	}
	var err error
	if signal.Value, err = formula.Parse(s.GetValue()); err != nil {
		return nil, c.inFormula(path, err)
	}
	return signal, nil
}

// observed asks that the channel which shows a quantity is one, in a unit that becomes the quantity's.
func (c *compiler) observed(path string, o *calibrationv1.Observed, quantity, unit string) error {
	channel := o.GetChannel()
	if o == nil {
		return nil
	}
	path += ".observed.channel"
	if !units.IsQuantity(channel) {
		return c.at.Errorf(path, "the quantity of a run's channel, as in ignition_advance", "%.80q is none", channel)
	}
	if _, recorded := units.Own[quantity]; recorded && channel != quantity {
		return c.at.Errorf(path, quantity+", which a run records itself", "%s is another quantity than %s", channel, quantity)
	}
	own, known := units.Own[channel]
	if !known {
		return nil
	}
	if _, err := units.BetweenQuantities(channel, own, quantity, unit); err != nil {
		problem, allowed, _ := strings.Cut(err.Error(), "; allowed: ")
		return c.at.Errorf(path, allowed, "the channel %s: %s", channel, problem)
	}
	return nil
}

// inFormula brings a formula's fault into the file's own form.
func (c *compiler) inFormula(path string, err error) error {
	var e *formula.Error
	if !errors.As(err, &e) {
		return c.at.Errorf(path+".value", "", "%v", err)
	}
	return c.at.Errorf(path+".value", e.Allowed, "%v: %s", e.At, e.Problem)
}

// axisFrom is an axis that names the signal it takes its quantity from.
type axisFrom struct {
	path, signal string
	axis         *Axis
}

func (c *compiler) from(path, signal string, axis *Axis) {
	if signal != "" {
		c.froms = append(c.froms, axisFrom{path, signal, axis})
	}
}

func (c *compiler) knownFroms() {
	for _, f := range c.froms {
		s := c.lay.SignalByID[f.signal]
		if (s == nil || !s.Feeds || s.Quantity != f.axis.Quantity) && !c.lost["signal "+f.signal] {
			c.wrong(c.at.Errorf(f.path+".from", c.feeding(f.axis.Quantity), "%.60q is no signal that feeds %s", f.signal, f.axis.Quantity))
		}
	}
}

// feeding lists the signals that feed a quantity, for an error.
func (c *compiler) feeding(quantity string) string {
	var names []string
	for _, s := range c.lay.Feeders(quantity) {
		names = append(names, s.ID)
	}
	if names == nil {
		return fmt.Sprintf("a signal of quantity %s with feeds: true, of which there is none", quantity)
	}
	return listed(names)
}
