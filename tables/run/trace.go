package run

import (
	"fmt"
	"math"
	"slices"
	"sort"
)

// trace is the engine speed of the rows that have a sound one.
type trace struct {
	rows      []int
	time, raw []float64
	speed     []float64 // smoothed
	wild      []int     // rows whose speed disagrees
}

// speedOf is the trace of a run.
func speedOf(r *Run) (*trace, error) {
	raw, err := r.need("engine_speed", "the sweep")
	if err != nil {
		return nil, err
	}
	hole, t := r.holed("engine_speed"), &trace{}
	for i, v := range raw {
		switch {
		case hole(i):
		case v > fastest || v < 0:
			t.wild = append(t.wild, i)
		case v > 0:
			t.rows = append(t.rows, i)
			t.raw = append(t.raw, float64(v))
		}
	}
	if len(t.wild) > len(raw)/2 {
		return nil, fmt.Errorf("%s: most engine speeds, such as %g 1/min, are none; allowed: from 0 to %d", r.Name, raw[t.wild[0]], fastest)
	}
	off := disagree(t.raw)
	n := 0
	for i, row := range t.rows {
		if off[i] {
			t.wild = append(t.wild, row)
			continue
		}
		t.rows[n], t.raw[n] = row, t.raw[i]
		t.time = append(t.time, r.Time[row])
		n++
	}
	t.rows, t.raw = t.rows[:n], t.raw[:n]
	slices.Sort(t.wild)
	return t, nil
}

// How a speed disagrees: by more than its neighbours differ among themselves. Common practice, no source.
const (
	wildWindow = 5    // neighbours on each side
	wildSteps  = 6    // times the usual step from one sample to the next
	wildLeast  = 150  // 1/min
	wildShare  = 0.03 // of the speed
)

// disagree marks values far from the median of those about them.
func disagree(v []float64) []bool {
	off := make([]bool, len(v))
	var about, steps []float64
	for i, x := range v {
		about, steps = about[:0], steps[:0]
		for j := max(i-wildWindow, 0); j <= min(i+wildWindow, len(v)-1); j++ {
			about = append(about, v[j])
			if j > 0 {
				steps = append(steps, math.Abs(v[j]-v[j-1]))
			}
		}
		if len(steps) == 0 {
			continue
		}
		mid := median(about)
		off[i] = math.Abs(x-mid) > max(wildLeast, wildShare*mid, wildSteps*median(steps))
	}
	return off
}

// segments cuts the trace where the time began again, and smooths each piece.
func (t *trace) segments(breaks []int) []*trace {
	var out []*trace
	from := 0
	for _, b := range append(slices.Clone(breaks), math.MaxInt) {
		to := sort.SearchInts(t.rows, b)
		if to > from {
			s := &trace{rows: t.rows[from:to], time: t.time[from:to], raw: t.raw[from:to], wild: t.wild}
			s.speed = smooth(s.time, s.raw, smoothing)
			out = append(out, s)
		}
		from = to
	}
	return out
}

// span is a stretch of a trace, to exclusive.
type span struct{ from, to int }

// rate is the rise about a sample, 1/min per second.
func (t *trace) rate(i int) float64 {
	a := max(sort.SearchFloat64s(t.time, t.time[i]-smoothing)-1, 0)
	b := min(sort.SearchFloat64s(t.time, t.time[i]+smoothing), len(t.time)-1)
	if a == b {
		return 0
	}
	return (t.speed[b] - t.speed[a]) / (t.time[b] - t.time[a])
}

// smooth is the mean of the samples within half a window on both sides, as many on one as on
// the other, so that a steady rise is not bent at its ends.
func smooth(time, values []float64, window float64) []float64 {
	sums := make([]float64, len(values)+1)
	for i, v := range values {
		sums[i+1] = sums[i] + v
	}
	out := make([]float64, len(values))
	for i := range values {
		before := i - sort.SearchFloat64s(time, time[i]-float64(window/2))
		after := sort.SearchFloat64s(time, time[i]+float64(window/2)) - 1 - i
		n := max(min(before, after), 0)
		out[i] = (sums[i+n+1] - sums[i-n]) / float64(2*n+1)
	}
	return out
}
