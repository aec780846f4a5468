package run

import (
	"fmt"
	"slices"
	"sort"
)

// How a sweep is found. A rise is steady while the engine speed, averaged over smoothing,
// gains leastRate or more from one smoothing before a sample to one after it.
const (
	smoothing   = 0.25 // s
	leastRate   = 20   // 1/min per second: a 5000 1/min pull may take four minutes
	leastRise   = 500  // 1/min: less is a driver's correction, no sweep
	leastPoints = 20   // samples of a sweep
)

// FindSweep is the longest steady rise of engine speed: the one that covers most of it, and the
// first of equal ones. It is an error where nothing rises by 500 1/min.
func FindSweep(r *Run) (Sweep, error) {
	raw, err := r.need("engine_speed", "the sweep")
	if err != nil {
		return Sweep{}, err
	}
	speed := smooth(r.Time, raw, smoothing)
	var best Sweep
	for i := 0; i < len(speed); {
		if !rising(r.Time, speed, i) {
			i++
			continue
		}
		from := i
		for i < len(speed) && rising(r.Time, speed, i) {
			i++
		}
		if s := trimmed(r.Time, speed, from, i); s.High-s.Low > best.High-best.Low {
			best = s
		}
	}
	if rise := best.High - best.Low; rise < leastRise {
		return Sweep{}, fmt.Errorf("%s: no sweep: the engine speed rises steadily by %.0f 1/min at most; allowed: %d 1/min or more in one rise", r.Name, rise, leastRise)
	}
	return best, nil
}

// trimmed is the rise between its least and its greatest speed, without its ends: where the rate is
// under a quarter of its median the speed is still held, or already falls; and one
// smoothing more at the start, half of one at the end, where a fall has already cut the rate before it
// begins. What the driver does there is no full load.
func trimmed(time, speed []float64, from, to int) Sweep {
	rates := make([]float64, 0, to-from)
	for i := from; i < to; i++ {
		rates = append(rates, rate(time, speed, i))
	}
	least := median(slices.Clone(rates)) / 4
	for to > from && rates[to-1-from] < least {
		to--
	}
	begin := from
	for begin < to && rates[begin-from] < least {
		begin++
	}
	if begin == to {
		return Sweep{}
	}
	first, last := time[begin]+smoothing, time[to-1]-smoothing/2
	low := sort.SearchFloat64s(time, first)
	high := sort.Search(len(time), func(i int) bool { return time[i] > last }) - 1
	if low >= high {
		return Sweep{}
	}
	return Sweep{From: low, To: high + 1, Low: speed[low], High: speed[high], Begin: time[low], Until: time[high]}
}

// rising reports whether the speed rises about sample i.
func rising(time, speed []float64, i int) bool { return rate(time, speed, i) >= leastRate }

// rate is the rise about sample i, 1/min per second.
func rate(time, speed []float64, i int) float64 {
	a := max(sort.SearchFloat64s(time, time[i]-smoothing)-1, 0)
	b := min(sort.SearchFloat64s(time, time[i]+smoothing), len(time)-1)
	if a == b {
		return 0
	}
	return (speed[b] - speed[a]) / (time[b] - time[a])
}

// smooth is the mean of the samples within half a window on both sides, as many on one as on
// the other, so that a steady rise is not bent at its ends.
func smooth(time []float64, values []float32, window float64) []float64 {
	sums := make([]float64, len(values)+1)
	for i, v := range values {
		sums[i+1] = sums[i] + float64(v)
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
