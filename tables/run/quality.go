package run

import (
	"fmt"
	"math"
	"slices"
)

// What makes a run doubtful. Common practice, no source: they are stated wherever they are used.
const (
	spinShare    = 0.03 // of the median ratio of engine to roller speed
	spinSamples  = 3    // in a row, so that one wild sample is no spin
	lumpTimes    = 5    // times the spread
	lumpShare    = 0.02 // of the peak torque, at the least
	lumpWidth    = 500  // 1/min, half width of the line that a lump stands out from
	leastSeconds = 3    // of a sweep
	leastSpan    = 1500 // 1/min, of a sweep
	leastPerStep = 5    // samples in a grid step
	stuckShare   = 0.2  // of the sweep's samples, one after the other
	stuckSamples = 20
)

// Quality says in words what is doubtful about a run's sweep and curve; empty if nothing.
func Quality(r *Run, s Sweep, c *Curve) []Remark {
	out := slices.Concat(r.Remarks, s.remarks(r), c.remarks)
	if d := s.Until - s.Begin; d < leastSeconds {
		out = append(out, Remark{"short", s.Low, fmt.Sprintf("too short: the sweep lasts %.1f s from %.0f 1/min; %d s or more are wanted", d, s.Low, leastSeconds)})
	}
	if d := s.High - s.Low; d < leastSpan {
		out = append(out, Remark{"short", s.Low, fmt.Sprintf("too short: the sweep covers %.0f 1/min from %.0f; %d or more are wanted", d, s.Low, leastSpan)})
	}
	out = append(out, few(c)...)
	out = append(out, spin(r, s)...)
	out = append(out, lumps(c)...)
	out = append(out, stuck(r, s)...)
	if c.Correction.OutOfRange {
		out = append(out, Remark{"correction", 0, "correction out of range: " + c.Correction.Why + "; the corrected figures are no figures of " + c.Correction.Title})
	}
	return out
}

// few finds grid points with too few samples about them.
func few(c *Curve) []Remark {
	speeds := make([]float64, len(c.Raw))
	for i, p := range c.Raw {
		speeds[i] = p.Speed
	}
	slices.Sort(speeds)
	least, where, count := math.MaxInt, 0.0, 0
	for _, p := range c.Points {
		a, _ := slices.BinarySearch(speeds, p.Speed-float64(c.Step/2))
		b, _ := slices.BinarySearch(speeds, p.Speed+float64(c.Step/2))
		if p == c.Points[0] || p == c.Points[len(c.Points)-1] {
			b += leastPerStep // half a step may lie outside the sweep
		}
		if b-a < leastPerStep {
			count++
		}
		if b-a < least {
			least, where = b-a, p.Speed
		}
	}
	if count == 0 {
		return nil
	}
	return []Remark{{"points", where, fmt.Sprintf("too few points: %d samples within %g 1/min of %.0f 1/min; %d or more are wanted (%d of %d grid speeds have fewer)",
		least, c.Step/2, where, leastPerStep, count, len(c.Points))}}
}

// spin finds where the ratio of engine to roller speed leaves its median.
func spin(r *Run, s Sweep) []Remark {
	engine, ok1 := r.Values("engine_speed")
	roller, ok2 := r.Values("roller_speed")
	if !ok1 || !ok2 {
		return nil
	}
	ratio := make([]float64, 0, len(s.Rows))
	var moving []float64
	for _, i := range s.Rows {
		q := math.NaN()
		if roller[i] > 1 {
			q = float64(engine[i]) / float64(roller[i])
			moving = append(moving, q)
		}
		ratio = append(ratio, q)
	}
	if len(moving) < leastPoints {
		return nil
	}
	mid := median(moving)
	return stretches(len(ratio), func(i int) float64 {
		if off := ratio[i]/mid - 1; math.Abs(off) > spinShare {
			return off
		}
		return 0
	}, spinSamples, func(from, to int, worst float64) Remark {
		a, b := float64(engine[s.Rows[from]]), float64(engine[s.Rows[to-1]])
		cause := "the wheels spin, or the clutch slips"
		if worst < 0 {
			cause = "the rollers run ahead, or a speed is misread"
		}
		return Remark{"spin", a, fmt.Sprintf("wheel spin: the ratio of engine to roller speed is up to %+.1f %% off its median from %.0f to %.0f 1/min (%g %% is allowed): %s",
			100*worst, a, b, 100*spinShare, cause)}
	})
}

// lumps finds samples that stand out from a wide line through the curve. The line is fitted
// twice, the second time without what stood out from the first, so that a lump does not hide itself.
func lumps(c *Curve) []Remark {
	sorted := bySpeed(c.Raw)
	kept := sorted
	var residual []float64
	var bound float64
	for range 2 {
		wide := make([]Point, len(c.Points))
		for i, p := range c.Points {
			y, _ := local(kept, p.Speed, lumpWidth)
			wide[i] = Point{Speed: p.Speed, Torque: y}
		}
		residual = make([]float64, len(sorted))
		for i, p := range sorted {
			residual[i] = p.Torque - between(wide, p.Speed)
		}
		bound = max(lumpTimes*spread(residual), lumpShare*math.Abs(c.PeakTorque.Torque))
		kept = nil
		for i, p := range sorted {
			if math.Abs(residual[i]) <= bound {
				kept = append(kept, p)
			}
		}
		if len(kept) < leastPoints {
			break
		}
	}
	low, high := c.Points[0].Speed, c.Points[len(c.Points)-1].Speed
	return stretches(len(sorted), func(i int) float64 {
		if p := sorted[i].Speed; p < low || p > high || math.Abs(residual[i]) <= bound {
			return 0
		}
		return residual[i]
	}, 1, func(from, to int, worst float64) Remark {
		a, b := sorted[from].Speed, sorted[to-1].Speed
		return Remark{"lump", a, fmt.Sprintf("a lump: torque is up to %+.1f N.m off the line through its neighbours from %.0f to %.0f 1/min (%d times the spread, and %g %% of the peak: %.1f N.m)",
			worst, a, b, lumpTimes, 100*lumpShare, bound)}
	})
}

// near joins stretches with fewer samples between them.
const near = 10

// mostStretches are told one by one.
const mostStretches = 5

// stretches joins what off marks (by other than 0) into stretches of least samples or more.
func stretches(n int, off func(i int) float64, least int, say func(from, to int, worst float64) Remark) []Remark {
	var out []Remark
	more := 0
	for i := 0; i < n; i++ {
		worst := off(i)
		if worst == 0 {
			continue
		}
		from, to, hits := i, i+1, 1
		for j := i + 1; j < n && j-to < near; j++ {
			if v := off(j); v != 0 {
				to, hits = j+1, hits+1
				if math.Abs(v) > math.Abs(worst) {
					worst = v
				}
			}
		}
		i = to - 1
		if hits < least {
			continue
		}
		if len(out) == mostStretches {
			more++
			continue
		}
		out = append(out, say(from, to, worst))
	}
	if more > 0 {
		last := &out[len(out)-1]
		last.Text += fmt.Sprintf("; and %d more like it", more)
	}
	return out
}

// lively are channels that never stand still in a sweep.
var lively = []string{"engine_speed", "roller_speed", "torque", "wheel_torque", "air_flow", "manifold_pressure"}

// stuck finds channels whose value stands still.
func stuck(r *Run, s Sweep) []Remark {
	engine, ok := r.Values("engine_speed")
	if !ok {
		return nil
	}
	var out []Remark
	for _, quantity := range lively {
		v, ok := r.Values(quantity)
		if !ok {
			continue
		}
		share := stuckShare
		if quantity == "manifold_pressure" {
			share = 0.6 // held boost, coarsely resolved, is no fault
		}
		from, length := still(v[s.From:s.To])
		if length < stuckSamples || float64(length) < share*float64(s.To-s.From) {
			continue
		}
		at := float64(engine[s.From+from])
		out = append(out, Remark{"stuck", at, fmt.Sprintf("sensor stuck: %s stands still at %g %s for %d samples (%.0f %% of the sweep) from %.0f 1/min",
			quantity, v[s.From+from], r.Unit(quantity), length, 100*float64(length)/float64(s.To-s.From), at)})
	}
	return out
}

// still is the longest stretch of equal values.
func still(v []float32) (from, length int) {
	for i := 0; i < len(v); {
		j := i + 1
		for j < len(v) && v[j] == v[i] {
			j++
		}
		if j-i > length {
			from, length = i, j-i
		}
		i = j
	}
	return from, length
}
