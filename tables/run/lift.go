package run

import (
	"math"
	"sort"
)

// When a rise goes on after a lift of the foot. Common practice, no source.
const (
	liftSeconds = 3    // from one rise to the next
	liftDrop    = 600  // 1/min that the speed fell meanwhile: more is another gear
	liftRatio   = 0.05 // by which the ratio of engine to road may differ: more is another gear
	liftBeside  = 0.6  // s before and after it that are held against each other
	liftLoad    = 0.75 // of the torque after it: less before it was no full load
	flawSeconds = 0.5  // shorter, and without a fall, a break is the signal's own
)

// rises are the steady rises of a trace, each of its parts.
func (t *trace) rises(r *Run) [][]span {
	var out [][]span
	for i := 0; i < len(t.speed); {
		if t.rate(i) < leastRate {
			i++
			continue
		}
		p := span{from: i}
		for i < len(t.speed) && t.rate(i) >= leastRate {
			i++
		}
		if p.to = i; t.speed[p.to-1]-t.speed[p.from] < leastPart {
			continue
		}
		n := len(out) - 1
		if n < 0 {
			out = append(out, []span{p})
			continue
		}
		last := &out[n][len(out[n])-1]
		switch gap, fell := t.time[p.from]-t.time[last.to-1], t.speed[last.to-1]-t.speed[p.from]; {
		case gap <= flawSeconds && fell < leastPart/2 && t.alike(r, *last, p):
			last.to = p.to
		case gap <= liftSeconds && fell <= liftDrop && t.speed[p.to-1] > t.speed[last.to-1]+leastPart && t.alike(r, *last, p):
			out[n] = append(out[n], p)
		default:
			out = append(out, []span{p})
		}
	}
	return out
}

// alike reports whether two rises are of one pull: in one gear, and at one load where they meet.
func (t *trace) alike(r *Run, a, b span) bool {
	if a.to-a.from < 4 || b.to-b.from < 4 {
		return true
	}
	from := min(sort.SearchFloat64s(t.time, t.time[a.to-1]-liftBeside), a.to-4)
	to := max(sort.SearchFloat64s(t.time, t.time[b.from]+liftBeside), b.from+4)
	before, after := t.rows[max(from, a.from):a.to], t.rows[b.from:min(to, b.to)]
	if road := r.first("wheel_speed", "roller_speed", "road_speed"); road != nil {
		engine, _ := r.Values("engine_speed")
		ratio := func(rows []int) float64 {
			return medianOf(rows, func(i int) float64 { return float64(engine[i]) / float64(road[i]) })
		}
		if q := ratio(before) / ratio(after); math.Abs(q-1) > liftRatio {
			return false
		}
	}
	if load := r.first("torque", "wheel_torque", "tractive_force", "power", "wheel_power"); load != nil {
		of := func(rows []int) float64 { return medianOf(rows, func(i int) float64 { return float64(load[i]) }) }
		if x, y := of(before), of(after); !(x >= liftLoad*y) {
			return false
		}
	}
	return true
}

// first is the first of the channels that the run has.
func (r *Run) first(quantities ...string) []float32 {
	for _, q := range quantities {
		if v, ok := r.Values(q); ok {
			return v
		}
	}
	return nil
}

func medianOf(rows []int, of func(i int) float64) float64 {
	v := make([]float64, 0, len(rows))
	for _, i := range rows {
		v = append(v, of(i))
	}
	return median(v)
}
