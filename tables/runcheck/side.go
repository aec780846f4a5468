package runcheck

import (
	"fmt"
	"math"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/definition"
	"witnessmark/tables/image"
	"witnessmark/tables/signal"
	"witnessmark/tables/surface"
)

// Channels that have findings of their own.
const (
	lambda   = "lambda"
	pressure = "manifold_pressure"
	advance  = "ignition_advance"
	retard   = "knock_retard"
)

// side is a table or signal and the channel that shows it, in the unit of the former.
type side struct {
	table, signal string // one of the two
	channel       string
	unit          string
	step          float64
	space         *signal.Space
	view          *signal.View
	value         *signal.Function
	probe         *probe
	logged        []float32 // NaN where the channel has no value
	expected      []float32 // what was commanded when what was logged happened; NaN where that cannot be told
	from          []int32   // the sample of that moment
	delay         float64
	of            *definition.Table  // the map that it comes from, for the cell; nil if none
	axes          []*signal.Function // of that map
	points        [][]float64        // their breakpoints
}

func (s *side) id() string {
	if s.signal != "" {
		return s.signal
	}
	return s.table
}

// off is logged less commanded; NaN where it cannot be told.
func (s *side) off(i int) float64 { return float64(s.logged[i]) - float64(s.expected[i]) }

// eachSide holds every table and signal that is observed against its channel.
func (c *check) eachSide() {
	for _, t := range c.Layout.Tables {
		if o := t.Source.GetObserved(); o != nil {
			c.side(&side{table: t.ID, channel: o.GetChannel(), unit: t.Unit, step: t.Cells.Conv.Step()}, t.Quantity)
		}
	}
	for _, g := range c.Layout.Signals {
		if o := g.Source.GetObserved(); o != nil {
			c.side(&side{signal: g.ID, channel: o.GetChannel(), unit: g.Unit, step: signal.Step(c.Layout, g)}, g.Quantity)
		}
	}
}

func (c *check) side(s *side, quantity string) {
	out := &calibrationv1.RunSide{Table: s.table, Signal: s.signal, Channel: s.channel, Unit: s.unit}
	c.out.Sides = append(c.out.Sides, out)
	if err := c.compute(s, quantity); err != nil {
		c.left("%s is not held against the run: %v", s.id(), err)
		return
	}
	if c.describe(s, out); out.Samples == 0 {
		c.left("%s is not held against the run: no sample has both a value and an operating point", s.id())
		return
	}
	c.sides = append(c.sides, s)
	switch s.channel {
	case lambda:
		c.lean(s)
		c.differs(s)
	case pressure:
		c.overTarget(s)
	default:
		c.differs(s)
	}
	c.limitsOf(s)
}

// compute evaluates the side at every sample, and pairs the samples by the delay of the channel.
func (c *check) compute(s *side, quantity string) error {
	ch, err := c.channel(s.channel, s.unit)
	if err != nil {
		return err
	}
	s.space = signal.NewSpace(c.lay)
	s.view = c.set.In(s.space)
	if s.value, err = c.function(s, s.view, s.space, c.Image); err != nil {
		return err
	}
	if s.probe, err = c.probe(s.space); err != nil {
		return err
	}
	n := len(c.Run.Time)
	s.logged, s.expected, s.from = make([]float32, n), make([]float32, n), make([]int32, n)
	commanded := make([]float32, n)
	nan, first := float32(math.NaN()), true
	for i := range n {
		s.logged[i], commanded[i] = nan, nan
		if !ch.hole(i) {
			s.logged[i] = float32(ch.at(i))
		}
		if s.probe.move(i) {
			commanded[i] = float32(s.probe.value(s.value))
			if first {
				first = false
				if err := c.locate(s); err != nil {
					return err
				}
			}
		}
	}
	if s.channel != pressure { // the engine comes to it when it can: what it is late by is no delay of the channel's
		s.delay = delay(c.Run.Time, commanded, s.logged)
	}
	l := looker{time: c.Run.Time, values: commanded}
	for i, t := range c.Run.Time {
		v, from := l.at(t - s.delay)
		s.expected[i], s.from[i] = float32(v), int32(from)
	}
	return nil
}

// function is the side's value in an image. A table that no signal looks up has its own axes.
func (c *check) function(s *side, view *signal.View, space *signal.Space, im *image.Image) (*signal.Function, error) {
	if s.signal != "" {
		return view.Signal(s.signal)
	}
	t := c.lay.ByID[s.table]
	if len(t.Fed) > 0 {
		return view.Table(s.table)
	}
	if !c.lay.Holds(im, t) {
		return nil, fmt.Errorf("the image does not hold table %s", t.ID)
	}
	return space.Table(surface.Decode(t, im.Bytes))
}

// locate finds the map that the side comes from at the first sample: of the tables that were looked at and have its unit the
// one with most axes.
func (c *check) locate(s *side) error {
	s.of = c.lay.ByID[s.table]
	if s.signal != "" {
		most := -1
		for _, id := range s.view.Looked() {
			t := c.lay.ByID[id]
			if n := len(t.Axes); t.Unit == s.unit && n > most && t.Cells.Conv.Labels == nil {
				s.of, most = t, n
			}
		}
	}
	if s.of == nil {
		return nil
	}
	t, err := s.of.In(c.Image.Bytes)
	if err != nil {
		return err
	}
	for n, a := range t.Axes {
		f, err := c.alongAxis(s, n, a)
		if err != nil {
			return err
		}
		s.axes, s.points = append(s.axes, f), append(s.points, a.Breakpoints(c.Image.Bytes))
	}
	return nil
}

// alongAxis is where the operating point lies along an axis of the side's map, by number.
func (c *check) alongAxis(s *side, n int, a *definition.Axis) (f *signal.Function, err error) {
	var feed definition.Feed
	if s.of.Fed != nil {
		feed = *s.of.Fed[n]
	}
	switch {
	case feed.Signal != nil:
		f, err = s.view.Signal(feed.Signal.ID)
	case feed.Curve != nil:
		f, err = s.view.Table(feed.Curve.ID)
	default:
		return s.space.Input(signal.QuantityOf(s.of, n), a.Unit)
	}
	if err != nil {
		return nil, err
	}
	return f.In(feed.Level), nil
}
