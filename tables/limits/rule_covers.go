package limits

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"google.golang.org/protobuf/proto"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/definition"
	"witnessmark/tables/surface"
)

var coversKind = &kind{name: "covers", fits: (*ruleCheck).hasAxes, judge: (*subject).covers, needsRun: true,
	axesAlone: func(*calibrationv1.Rule) bool { return true }}

// Run is a run on the rolling road as the rules see it: one value a sample in every channel.
type Run struct {
	SHA256   string // hex, of the file as recorded
	Channels []RunChannel
	Time     []float64 // seconds, of each sample; rising
	Before   []*Run    // runs of the same car before the change
}

// RunChannel is one recorded quantity.
type RunChannel struct {
	Quantity, Unit string
	Values         []float64
}

// channel finds the samples of a quantity; nil where it was not recorded.
func (r *Run) channel(quantity string) *RunChannel {
	for i := range r.Channels {
		if r.Channels[i].Quantity == quantity {
			return &r.Channels[i]
		}
	}
	return nil
}

// recorded is the rounding that a sample may carry: a run keeps them as single floats.
const recorded = 0x1p-23

// reach is one axis of a table against the samples of its quantity, in the axis' own unit.
type reach struct {
	isY            bool
	axis           *definition.Axis
	samples        []float64
	low, high      float64 // of the candidate
	known          bool    // whether the base's ends are known
	baseLow, baseH float64
	outside        int
}

// covers asks that every operating point of the run lies between the ends of the table's axes,
// where the table is not held at its last value. A point outside two axes counts once, by the
// axis it leaves by the larger share of that axis' span.
func (s *subject) covers() error {
	var axes []*reach
	for _, isY := range []bool{false, true} {
		r, err := s.reach(isY)
		if err != nil {
			return err
		}
		if r != nil {
			axes = append(axes, r)
		}
	}
	n := len(axes[0].samples)
	var share [origins]float64
	for i := range n {
		s.coverPoint(axes, i, &share)
	}
	var words []string
	for _, r := range axes {
		if r.outside > 0 {
			words = append(words, fmt.Sprintf("%d of the run's %d points lie outside %s %v to %v %s",
				r.outside, n, strings.ReplaceAll(r.axis.Quantity, "_", " "), r.low, r.high, r.axis.Unit))
		}
	}
	if s.detail != "" {
		words = append(words, s.detail)
	}
	s.detail = strings.Join(words, "; ")
	return nil
}

// reach reads one axis; nil where the table has none there.
func (s *subject) reach(isY bool) (*reach, error) {
	axis, points := s.t.X, s.cand.x
	if isY {
		axis, points = s.t.Y, s.cand.y
	}
	if axis == nil {
		return nil, nil
	}
	c := s.in.Run.channel(axis.Quantity)
	if c == nil {
		return nil, unjudged("the run has no channel of %s", axis.Quantity)
	}
	if len(c.Values) == 0 || len(points) == 0 {
		return nil, unjudged("the run or the axis of %s is empty", axis.Quantity)
	}
	unit, err := levels(c.Quantity, c.Unit, axis.Quantity, axis.Unit)
	if err != nil {
		return nil, unjudged("the run's %s: %v", axis.Quantity, err)
	}
	r := &reach{isY: isY, axis: axis, samples: unit.all(c.Values), low: slices.Min(points), high: slices.Max(points)}
	if !surface.Finite(r.low, r.high) {
		return nil, unjudged("a breakpoint of %s is not a finite number", axis.Quantity)
	}
	if b := s.base; b != nil {
		bt, of := b.t.X, b.x
		if isY {
			bt, of = b.t.Y, b.y
		}
		if sameAxis(axis, bt) && len(of) > 0 && surface.Finite(slices.Min(of), slices.Max(of)) {
			r.known, r.baseLow, r.baseH = true, slices.Min(of), slices.Max(of)
		}
	}
	return r, nil
}

// beyond holds a sample against the end of an axis that it is nearer to leaving.
func (r *reach) beyond(v, low, high float64) verdict {
	limit, excess := high, v-high
	if v < low || math.IsNaN(v) {
		limit, excess = low, low-v
	}
	if !surface.Finite(v) {
		return verdict{value: v, limit: limit, excess: math.Inf(1), fails: true}
	}
	excess = max(excess, 0)
	return verdict{value: v, limit: limit, excess: excess, fails: excess > recorded*max(math.Abs(v), math.Abs(limit))}
}

// coverPoint judges one operating point and counts it under its origin.
func (s *subject) coverPoint(axes []*reach, i int, share *[origins]float64) {
	p := place{point: i}
	var worst, base verdict
	var by *reach
	most := -1.0
	for _, r := range axes {
		v := r.beyond(r.samples[i], r.low, r.high)
		if r.isY {
			p.y = r.samples[i]
		} else {
			p.x = r.samples[i]
		}
		if !v.fails {
			continue
		}
		r.outside++
		span := r.high - r.low
		if span <= 0 {
			span = 1
		}
		if v.excess/span > most {
			most, worst, by = v.excess/span, v, r
		}
	}
	if by == nil {
		return
	}
	o := introduced
	if by.known {
		if base = by.beyond(by.samples[i], by.baseLow, by.baseH); base.fails {
			o = inherited
			if worst.excess-base.excess > recorded*max(math.Abs(worst.value), math.Abs(worst.limit)) {
				o = worsened
			}
		}
	}
	b := &s.tally.buckets[o]
	if b.count == 0 || most > share[o] {
		share[o], b.at, b.worst = most, p, worst
		b.worst.along = proto.String(map[bool]string{false: "x", true: "y"}[by.isY])
	}
	b.count++
}
