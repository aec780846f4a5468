package runcheck

import (
	"math"
	"slices"
)

// How the delay of a channel is estimated. Common practice, no source.
const (
	mostDelay  = 1.0   // s, either way: sensors, their amplifiers and the logger's own rounds take less
	delaySteps = 400   // tried at most
	delayPicks = 20000 // samples at most, evenly over the run
	leastAlike = 0.6   // correlation below which nothing is told
	surely     = 9     // times what one independent sample adds to the squares: three standard deviations
)

// delay is by how much logged runs behind commanded, s: where the two correlate best, between samples too. It is 0 where the
// run does not tell it from 0, be it that nothing moves. Correlation does not mind that one is shifted or scaled.
func delay(time []float64, commanded, logged []float32) float64 {
	last := len(time) - 1
	window := min(mostDelay, (time[last]-time[0])/4)
	step := max((time[last]-time[0])/float64(last), window*2/delaySteps)
	n := int(window / step)
	if n < 1 {
		return 0
	}
	picks := make([]int, 0, min(len(time), delayPicks))
	for i := 0; i <= last; i += len(time)/delayPicks + 1 {
		if time[i] >= time[0]+window && time[i] <= time[last]-window && logged[i] == logged[i] {
			picks = append(picks, i)
		}
	}
	if len(picks) < 8 {
		return 0
	}
	apart := make([]float64, 2*n+1) // the share of the squares that is left
	for k := range apart {
		apart[k] = unlike(time, commanded, logged, picks, float64(k-n)*step)
	}
	best := slices.Index(apart, slices.Min(apart))
	independent := float64(len(picks)) * freedom(time, commanded, logged, picks, float64(best-n)*step)
	if apart[best] > 1-leastAlike*leastAlike || apart[n] <= float64(apart[best]*(1+surely/independent))+1e-9 {
		return 0
	}
	d := float64(best - n)
	if best > 0 && best < 2*n {
		if bend := apart[best-1] - float64(2*apart[best]) + apart[best+1]; bend > 0 {
			d += (apart[best-1] - apart[best+1]) / (2 * bend)
		}
	}
	return d * step
}

// unlike is 1 less the square of the correlation of logged with commanded so much earlier; 1 where nothing moves, or the two
// move against each other.
func unlike(time []float64, commanded, logged []float32, picks []int, delay float64) float64 {
	var n, sumC, sumL, sumCC, sumLL, sumCL float64
	l := looker{time: time, values: commanded}
	c0, l0 := math.NaN(), 0.0
	for _, i := range picks {
		c, _ := l.at(time[i] - delay)
		if c != c {
			continue
		}
		if c0 != c0 {
			c0, l0 = c, float64(logged[i])
		}
		c -= c0
		v := float64(logged[i]) - l0
		n++
		sumC += c
		sumL += v
		sumCC += float64(c * c)
		sumLL += float64(v * v)
		sumCL += float64(c * v)
	}
	varC, varL, both := sumCC-float64(sumC*sumC)/n, sumLL-float64(sumL*sumL)/n, sumCL-float64(sumC*sumL)/n
	if n < 8 || varC <= 1e-12*sumCC || varL <= 1e-12*sumLL || both <= 0 {
		return 1
	}
	return 1 - float64(both*both)/float64(varC*varL)
}

// freedom is the share of the samples that say something of their own, by how much each residual is like the one before: a map
// that is another one leaves long waves, not noise.
func freedom(time []float64, commanded, logged []float32, picks []int, delay float64) float64 {
	c, l := make([]float64, 0, len(picks)), make([]float64, 0, len(picks))
	k := looker{time: time, values: commanded}
	for _, i := range picks {
		if v, _ := k.at(time[i] - delay); v == v {
			c, l = append(c, v), append(l, float64(logged[i]))
		}
	}
	slope, mid := line(c, l)
	var own, next, before float64
	for i := range c {
		r := l[i] - float64(slope*c[i]) - mid
		own += float64(r * r)
		if i > 0 {
			next += float64(r * before)
		}
		before = r
	}
	if own == 0 {
		return 1
	}
	like := min(max(next/own, 0), 0.99)
	return (1 - like) / (1 + like)
}

// line is the straight one of least squares.
func line(x, y []float64) (slope, at0 float64) {
	var sumX, sumY, sumXX, sumXY float64
	for i := range x {
		dx, dy := x[i]-x[0], y[i]-y[0]
		sumX += dx
		sumY += dy
		sumXX += float64(dx * dx)
		sumXY += float64(dx * dy)
	}
	n := float64(len(x))
	if d := sumXX - float64(sumX*sumX)/n; d > 0 {
		slope = (sumXY - float64(sumX*sumY)/n) / d
	}
	return slope, y[0] + sumY/n - float64(slope*(x[0]+sumX/n))
}

// looker reads values at rising times.
type looker struct {
	time   []float64
	values []float32
	next   int // the first sample after the time
}

// at is the value at a time by a straight line, and the sample that is nearest; NaN beyond the ends, or beside a sample
// that has none.
func (l *looker) at(t float64) (float64, int) {
	for l.next < len(l.time) && l.time[l.next] <= t {
		l.next++
	}
	a, b := l.next-1, l.next
	switch {
	case a < 0:
		return math.NaN(), 0
	case b == len(l.time):
		if l.time[a] == t {
			return float64(l.values[a]), a
		}
		return math.NaN(), a
	}
	part := (t - l.time[a]) / (l.time[b] - l.time[a])
	nearest := a
	if part > 0.5 {
		nearest = b
	}
	if part == 0 {
		return float64(l.values[a]), a
	}
	return float64((1-part)*float64(l.values[a])) + float64(part*float64(l.values[b])), nearest
}
