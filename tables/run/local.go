package run

import (
	"math"
	"slices"
	"sort"
)

// local is the weighted local line through points, which rise in speed, at x; norm is the sum of the
// squares of what each sample weighs in it.
func local(points []Point, x, half float64) (value, norm float64) {
	lo, hi, half := window(points, x, half)
	var w, wx, wy, wxx, wxy float64
	weight := func(p Point) (k, d float64) {
		d = (p.Speed - x) / half
		u := max(1-math.Abs(float64(d*d)*d), 0)
		return float64(u * u * u), d
	}
	for _, p := range points[lo:hi] {
		k, d := weight(p)
		w += k
		wx += float64(k * d)
		wy += float64(k * p.Torque)
		wxx += float64(k * d * d)
		wxy += float64(k * d * p.Torque)
	}
	if w == 0 {
		return points[min(lo, len(points)-1)].Torque, 1
	}
	det := float64(w*wxx) - float64(wx*wx)
	level := det <= 1e-9*w*w // all at one speed: no slope to be had
	for _, p := range points[lo:hi] {
		k, d := weight(p)
		l := k / w
		if !level {
			l = float64(k*(wxx-float64(wx*d))) / det
		}
		norm += float64(l * l)
	}
	if level {
		return wy / w, norm
	}
	return (float64(wxx*wy) - float64(wx*wxy)) / det, norm
}

// window is the samples nearer to x than half, widened until there are enough.
func window(points []Point, x, half float64) (lo, hi int, width float64) {
	for {
		lo = sort.Search(len(points), func(i int) bool { return points[i].Speed > x-half })
		hi = sort.Search(len(points), func(i int) bool { return points[i].Speed >= x+half })
		if hi-lo >= leastInside || hi-lo == len(points) || half > 1e5 {
			return lo, hi, half
		}
		half *= 1.5
	}
}

// spread is the standard deviation as the median of the absolute values tells it, which a few
// wild samples do not move: 1.4826 times it for a normal distribution.
func spread(values []float64) float64 {
	if len(values) == 0 {
		return 0
	}
	size := make([]float64, len(values))
	for i, v := range values {
		size[i] = math.Abs(v)
	}
	return 1.4826 * median(size)
}

// median orders values in place; NaN of none.
func median(values []float64) float64 {
	slices.Sort(values)
	n := len(values)
	switch {
	case n == 0:
		return math.NaN()
	case n%2 == 1:
		return values[n/2]
	}
	return (values[n/2-1] + values[n/2]) / 2
}

func compareFloat(a, b float64) int {
	switch {
	case a < b:
		return -1
	case a > b:
		return 1
	}
	return 0
}
