package limits

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"google.golang.org/protobuf/proto"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/surface"
)

var coversKind = &kind{name: "covers", parse: (*ruleCheck).covers, fits: (*ruleCheck).hasAxes, judge: (*subject).covers, every: true, needsRun: true,
	axesAlone: always, blocks: always}

func always(*calibrationv1.Rule) bool { return true }

// How much of a run may lie outside: per cent of its time where the rule does not say, and in all.
const (
	defaultShare = 0.5
	mostOutside  = 0.2 // seconds
)

func (c *ruleCheck) covers() error {
	if s := c.rule.GetCovers().Share; s != nil && !(*s >= 0 && *s < 100) {
		return c.bad("covers.share", "per cent of the run's time, 0 or more and less than 100", "the share is %v", *s)
	}
	return nil
}

// recorded is the rounding that a sample may carry: a run keeps them as single floats.
const recorded = 0x1p-23

// reach is one axis of a table against the samples of its quantity, in the axis' own unit.
type reach struct {
	number int // of the axis
	line
	samples   []float64
	low, high float64
	past      [2]float64 // how far the runs before lay below and above what the table then had
	outside   float64    // how much of the run
}

// covers asks that the operating points of the run lie between the ends of the table's axes, where
// the table is not held at its last value. A point outside two axes counts once, by the axis it
// leaves by the larger share of that axis' span. Points outside for no longer than the rule allows are left out.
func (s *subject) covers() error {
	var axes []*reach
	for i, l := range s.cand.lines() {
		if l.axis == nil || l.axis.Quantity == "" {
			continue
		}
		r, err := s.reach(i, l)
		if err != nil {
			return err
		}
		axes = append(axes, r)
	}
	if axes == nil {
		return errPassed{"no axis of it has a quantity"}
	}
	weights, total, seconds := s.in.Run.weights(len(axes[0].samples))
	var most, spent [origins]float64
	for i, w := range weights {
		if o, outside := s.coverPoint(axes, i, w, &most); outside {
			spent[o] += w
		}
	}
	allowed := defaultShare
	if c := s.rule.GetCovers(); c.Share != nil {
		allowed = c.GetShare()
	}
	over := func(spent float64) bool {
		return spent > allowed/100*total*(1+1e-9) || seconds && spent > mostOutside*(1+1e-9)
	}
	if b := &s.tally.buckets; !over(spent[introduced] + spent[inherited]) {
		*b = [origins]bucket{}
		return nil
	} else if !over(spent[introduced]) && b[introduced].count > 0 { // too short by itself
		merge(&b[inherited], b[introduced], most)
		b[introduced] = bucket{}
	}
	s.coverDetail(axes, total, seconds)
	return nil
}

// merge takes one bucket into another; most says which holds the worst.
func merge(into *bucket, b bucket, most [origins]float64) {
	if into.count == 0 || most[introduced] > most[inherited] {
		into.at, into.worst = b.at, b.worst
	}
	into.count += b.count
}

// coverDetail says how much of the run lay outside of which axis.
func (s *subject) coverDetail(axes []*reach, total float64, seconds bool) {
	var words []string
	for _, r := range axes {
		if r.outside == 0 {
			continue
		}
		much := fmt.Sprintf("%v of the run's %v points lie", r.outside, total)
		if seconds {
			much = fmt.Sprintf("%.3g s of the run's %.3g s lie", r.outside, total)
		}
		words = append(words, fmt.Sprintf("%s outside %s %v to %v %s", much, spaced(r.axis.Quantity), r.low, r.high, r.axis.Unit))
	}
	if s.detail != "" {
		words = append(words, s.detail)
	}
	s.detail = strings.Join(words, "; ")
}

// reach reads one axis, by number.
func (s *subject) reach(number int, l line) (*reach, error) {
	axis := l.axis
	samples, err := s.in.Run.along(axis)
	switch {
	case err == nil:
	case s.isChanged(s.t.ID) || len(s.rule.GetSelect().GetTables()) > 0:
		return nil, err
	default: // nobody asked about this table
		return nil, errPassed{err.Error()}
	}
	if len(l.points) == 0 || !surface.Finite(l.points...) {
		return nil, unjudged("a breakpoint of %s is not a finite number", axis.Quantity)
	}
	r := &reach{number: number, line: l, samples: samples, low: slices.Min(l.points), high: slices.Max(l.points), past: [2]float64{-1, -1}}
	low, high := r.low, r.high
	if s.was() != nil {
		if all := s.was().lines(); number < len(all) && sameAxis(axis, all[number].axis) && len(all[number].points) > 0 && surface.Finite(all[number].points...) {
			low, high = slices.Min(all[number].points), slices.Max(all[number].points)
		}
	}
	for _, run := range s.in.Run.Before {
		before, err := run.along(axis)
		if err != nil {
			continue // it says nothing of this quantity
		}
		for _, v := range before {
			if v := beyond(v, low, high); v.fails {
				r.past[endOf(v)] = max(r.past[endOf(v)], v.excess)
			}
		}
	}
	return r, nil
}

// beyond holds a sample against the end of an axis that it is nearer to leaving.
func beyond(v, low, high float64) verdict {
	limit, excess := high, v-high
	if v < low {
		limit, excess = low, low-v
	}
	if !surface.Finite(v) {
		return verdict{value: v, limit: limit, excess: math.Inf(1), fails: true}
	}
	excess = max(excess, 0)
	return verdict{value: v, limit: limit, excess: excess, fails: excess > recorded*max(math.Abs(v), math.Abs(limit))}
}

// endOf is which end a sample is beyond: 0 the low one, 1 the high one.
func endOf(v verdict) int {
	if v.value > v.limit {
		return 1
	}
	return 0
}

// coverPoint judges one operating point, of the weight w, and counts it under its origin.
func (s *subject) coverPoint(axes []*reach, i int, w float64, most *[origins]float64) (origin int, outside bool) {
	p := place{point: i}
	var worst verdict
	var by *reach
	share := -1.0
	for _, r := range axes {
		if math.IsNaN(r.samples[i]) { // a hole in the recording: nobody knows where the engine was
			return 0, false
		}
	}
	for _, r := range axes {
		v := beyond(r.samples[i], r.low, r.high)
		switch r.number {
		case 0:
			p.x = r.samples[i]
		case 1:
			p.y = r.samples[i]
		default:
			if p.inputs == nil {
				p.inputs = map[string]float64{}
			}
			p.inputs[r.axis.Quantity] = r.samples[i]
		}
		if !v.fails {
			continue
		}
		r.outside += w
		span := r.high - r.low
		if span <= 0 {
			span = 1
		}
		if v.excess/span > share {
			share, worst, by = v.excess/span, v, r
		}
	}
	if by == nil {
		return 0, false
	}
	if by.past[endOf(worst)] >= worst.excess-float64(recorded*max(math.Abs(worst.value), math.Abs(worst.limit))) {
		origin = inherited
	}
	b := &s.tally.buckets[origin]
	if b.count == 0 || share > most[origin] {
		most[origin], b.at, b.worst = share, p, worst
		b.worst.along = proto.String(by.name)
	}
	b.count++
	return origin, true
}
