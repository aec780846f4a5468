package run

import (
	"fmt"
	"math"
	"slices"
	"strings"
)

// Which samples disagree with their neighbours: those off by more than unsoundTimes the spread and
// unsoundShare of the line, for no longer than unsoundSeconds, or by more than half of the line for
// however long: then the foot was lifted, or the channel had failed. What is off by less for longer
// is the engine's own, and stays. Common practice, no source.
const (
	unsoundTimes   = 5
	unsoundShare   = 0.02
	unsoundSeconds = 0.1
	unsoundSamples = 2
	grossShare     = 0.25 // off the median of the neighbours: not in the line at all
	failedShare    = 0.5  // of the line: more is no engine
)

// sample is one measured point of a sweep.
type sample struct {
	Point
	row  int
	time float64
}

// sound is the samples without those that disagree, which are counted and named in the remarks.
func (c *Curve) sound(samples []sample) []Point {
	points := make([]Point, len(samples))
	for i, p := range samples {
		points[i] = p.Point
	}
	line, bound := lineThrough(points, c.Step)
	residual := func(i int) float64 { return points[i].Torque - between(line, points[i].Speed) }
	limit := func(i int) float64 {
		return max(bound, unsoundShare*math.Abs(between(line, points[i].Speed)))
	}
	var kept []Point
	var lifted []float64
	for i := 0; i < len(samples); {
		if math.Abs(residual(i)) <= limit(i) {
			kept = append(kept, points[i])
			i++
			continue
		}
		from, worst := i, 0.0
		for ; i < len(samples) && math.Abs(residual(i)) > limit(i); i++ {
			if r := residual(i) / math.Abs(between(line, points[i].Speed)); math.Abs(r) > math.Abs(worst) {
				worst = r
			}
		}
		brief := i-from <= unsoundSamples || samples[i-1].time-samples[from].time <= unsoundSeconds
		switch {
		case !brief && worst < -failedShare:
			lifted = append(lifted, samples[from].Speed)
		case brief || worst > failedShare:
			for _, p := range samples[from:i] {
				c.LeftOut = append(c.LeftOut, p.row)
				c.wildest = further(c.wildest, p.Torque)
			}
		default:
			kept = append(kept, points[from:i]...)
		}
	}
	if len(kept) < leastPoints {
		c.LeftOut = nil
		return points
	}
	c.named(samples, lifted)
	return kept
}

func further(a, b float64) float64 {
	if math.Abs(b) > math.Abs(a) {
		return b
	}
	return a
}

// named says what was left out, and where.
func (c *Curve) named(samples []sample, lifted []float64) {
	if n := len(c.LeftOut); n > 0 {
		var where []string
		first := 0.0
		for _, p := range samples {
			if _, out := slices.BinarySearch(c.LeftOut, p.row); out {
				if first == 0 {
					first = p.Speed
				}
				if len(where) < mostStretches {
					where = append(where, fmt.Sprintf("%.0f", p.Speed))
				}
			}
		}
		c.remarks = append(c.remarks, Remark{"spike", first, fmt.Sprintf("%s of torque left out, unlike the neighbours (up to %.4g N.m): at %s%s 1/min",
			counted(n, "sample"), c.wildest, strings.Join(where, ", "), more(n-len(where)))})
	}
	for _, speed := range lifted {
		c.remarks = append(c.remarks, lifts(speed))
	}
}

// remarks is what was doubtful about engine speed inside a sweep.
func (s Sweep) remarks(r *Run) (out []Remark) {
	if n := len(s.Wild); n > 0 {
		engine, _ := r.Values("engine_speed")
		var where []string
		for _, i := range s.Wild[:min(n, mostStretches)] {
			where = append(where, fmt.Sprintf("%.2f s (%.0f)", r.Time[i], engine[i]))
		}
		out = append(out, Remark{"spike", 0, fmt.Sprintf("%s of engine speed left out, unlike the neighbours: at %s%s", counted(n, "sample"), strings.Join(where, ", "), more(n-len(where)))})
	}
	for _, speed := range s.Lifts {
		out = append(out, lifts(speed))
	}
	return out
}

func lifts(speed float64) Remark {
	return Remark{"lift", speed, fmt.Sprintf("the foot was lifted at %.0f 1/min: the sweep is of the part before and the part after", speed)}
}

// counted is a number of things in words.
func counted(n int, thing string) string {
	if n == 1 {
		return "1 " + thing
	}
	return fmt.Sprintf("%d %ss", n, thing)
}

func more(n int) string {
	if n <= 0 {
		return ""
	}
	return fmt.Sprintf(" and %d more", n)
}

// lineThrough is a line through points that wild ones do not bend, and how far off it is too far: first
// through the medians, then by local lines through what is near those.
func lineThrough(points []Point, step float64) (line []Point, bound float64) {
	sorted := bySpeed(points)
	low, high := sorted[0].Speed, sorted[len(sorted)-1].Speed
	for x := low; ; x += step {
		x = min(x, high)
		lo, hi, _ := window(sorted, x, lumpWidth)
		about := make([]float64, 0, hi-lo)
		for _, p := range sorted[lo:hi] {
			about = append(about, p.Torque)
		}
		line = append(line, Point{Speed: x, Torque: median(about)})
		if x >= high {
			break
		}
	}
	residual := func(p Point) float64 { return p.Torque - between(line, p.Speed) }
	keep := func(bound float64, share float64) (near []Point, rest []float64) {
		for _, p := range sorted {
			if r := residual(p); math.Abs(r) <= max(bound, share*math.Abs(between(line, p.Speed))) {
				near, rest = append(near, p), append(rest, r)
			}
		}
		return near, rest
	}
	near, _ := keep(0, grossShare)
	for range 2 {
		if len(near) < leastPoints {
			return line, math.Inf(1) // no line to be had
		}
		fitted := make([]Point, len(line))
		for i, p := range line {
			y, _ := local(near, p.Speed, halfWidth)
			fitted[i] = Point{Speed: p.Speed, Torque: y}
		}
		line = fitted
		_, rest := keep(0, grossShare)
		bound = unsoundTimes * spread(rest)
		near, _ = keep(bound, unsoundShare)
	}
	return line, bound
}
