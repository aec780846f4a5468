package sheet

import (
	"fmt"
	"maps"
	"math"
	"slices"
	"strconv"
	"strings"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/definition"
	"witnessmark/tables/image"
	"witnessmark/tables/signal"
	"witnessmark/tables/surface"
)

// Curve is a signal of both images along the input that its change varies most with, through its worst finding, or where
// it moved most where nothing was found.
type Curve struct {
	*signal.Section
	Signal *definition.Signal
	At     float64  // of the input, where that is
	Limit  *float64 // there, in the signal's unit; nil where no limit is beyond
	Held   string   // the other inputs in words; empty where there are none
}

// SignalCurve draws a report's signal from the images and layouts of o. Between two breakpoints there are so many
// stretches, 1 or more. The error says what is not at hand.
func SignalCurve(r *calibrationv1.Report, s *calibrationv1.SignalReport, o *Options, stretches int) (*Curve, error) {
	of := *o
	of.holes = r.GetHoles()
	c := &Curve{Signal: of.signal(s.GetId())}
	base, candidate := of.set("base"), of.set("candidate")
	if c.Signal == nil || base == nil || candidate == nil {
		return nil, fmt.Errorf("signal %s: its definition or an image is not at hand", s.GetId())
	}
	at := s.GetDelta().GetAtMax()
	if d := s.GetDelta(); math.Abs(d.GetMin()) > math.Abs(d.GetMax()) {
		at = d.GetAtMin()
	}
	for _, f := range r.GetFindings() { // the worst stands first
		if f.GetSignal() == s.GetId() && len(f.GetWorst().GetInputs()) > 0 {
			at, c.Limit = f.GetWorst().GetInputs(), f.GetWorst().Limit
			break
		}
	}
	var err error
	if c.Section, err = signal.Strongest(base, candidate, s.GetId(), at, stretches); err != nil {
		return nil, err
	}
	c.At = at[c.Input.Quantity]
	held := maps.Clone(at)
	delete(held, c.Input.Quantity)
	c.Held = inputsInWords(c.Signal, held)
	return c, nil
}

// set is one side's image as signals look it up, without what it lacks; nil where it is not at hand.
func (o *Options) set(side string) *signal.Set {
	lay, bytes := o.Layout, o.Base
	if side == "candidate" {
		lay, bytes = o.candidateLayout(), o.Candidate
	}
	if lay == nil || uint64(len(bytes)) != lay.Size {
		return nil
	}
	im := lay.Space.Whole(bytes)
	for _, h := range o.holes {
		from, err := strconv.ParseUint(h.Start, 0, 64)
		to, wrong := strconv.ParseUint(h.End, 0, 64)
		if h.Side == side && err == nil && wrong == nil {
			im.Held = image.Minus(im.Held, []image.Range{{Start: from, End: to}})
		}
	}
	return signal.Open(lay, func(id string) *surface.Decoded {
		if t := lay.ByID[id]; t != nil && lay.Holds(im, t) {
			return surface.Decode(t, bytes)
		}
		return nil
	})
}

// mostColumns keeps a section on one screen.
const mostColumns = 12

// writeCurve prints a section of a signal, where the images are at hand.
func writeCurve(b *paper, r *calibrationv1.Report, s *calibrationv1.SignalReport, o *Options) {
	c, err := SignalCurve(r, s, o, 1)
	if err != nil || len(c.X) < 2 {
		return
	}
	n := o.signalDigits(c.Signal)
	wide := 0
	for i := range c.X {
		wide = max(wide, len(place(c.X[i])), len(n.near(c.Base[i])), len(n.near(c.Candidate[i])))
	}
	line := func(name string, text func(i int) string) string {
		s := fmt.Sprintf("  %-9s", name)
		for _, i := range c.columns(min(mostColumns, (o.width()-11)/(wide+2))) {
			s += fmt.Sprintf("  %*s", wide, text(i))
		}
		return strings.TrimRight(s, " ")
	}
	fmt.Fprintf(b, "  across: %s%s%s\n", Words(c.Input.Quantity), before(" in", Unit(c.Input.Unit, "")), before("; at ", c.Held))
	fmt.Fprintln(b, bold.Render(line("", func(i int) string { return place(c.X[i]) })))
	fmt.Fprintln(b, line("base", func(i int) string { return n.near(c.Base[i]) }))
	fmt.Fprintln(b, line("candidate", func(i int) string { return n.near(c.Candidate[i]) }))
	if c.Limit != nil {
		fmt.Fprintln(b, line("allowed", func(i int) string {
			if c.X[i] == c.At {
				return n.near(*c.Limit)
			}
			return ""
		}))
	}
}

// columns are the places to be shown: all of few; of many the ends, the operating point, and what lies evenly between.
func (c *Curve) columns(most int) (at []int) {
	if len(c.X) <= most {
		for i := range c.X {
			at = append(at, i)
		}
		return at
	}
	nearest := 0
	for i, x := range c.X {
		if math.Abs(x-c.At) < math.Abs(c.X[nearest]-c.At) {
			nearest = i
		}
	}
	at = []int{nearest}
	for k := range max(most-1, 2) {
		at = append(at, k*(len(c.X)-1)/max(most-2, 1))
	}
	slices.Sort(at)
	return slices.Compact(at)
}
