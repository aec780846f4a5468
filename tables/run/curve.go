package run

import (
	"fmt"
	"math"
	"slices"
	"sort"
)

// The local regression: a straight line through the samples about each grid speed, weighted by
// the tricube of their distance (W. S. Cleveland, J. Amer. Statist. Assoc. 74 (1979) 829).
const (
	halfWidth   = 200   // 1/min
	fastest     = 50000 // 1/min: more is a wrong unit, and a grid without end
	leastInside = 8     // samples that a fit takes at least; the window widens until it has them
)

// MakeCurve is torque and power over engine speed on a sweep, corrected as asked for. Power is
// torque times angular speed. It is an error where the run has torque at both the crank and the
// wheels and none was chosen, or where the correction is refused.
func MakeCurve(r *Run, s Sweep, o Options) (*Curve, error) {
	speed, err := r.need("engine_speed", "a curve")
	if err != nil {
		return nil, err
	}
	if s.From < 0 || s.To > len(speed) || s.To-s.From < leastPoints {
		return nil, fmt.Errorf("%s: the sweep has %d samples; allowed: %d or more", r.Name, max(s.To-s.From, 0), leastPoints)
	}
	if !(s.Low >= 0 && s.High <= fastest) {
		return nil, fmt.Errorf("%s: the sweep is from %g to %g 1/min; allowed: engine speeds from 0 to %d", r.Name, s.Low, s.High, fastest)
	}
	step := o.Step
	if step == 0 {
		step = DefaultStep
	}
	if !(step >= 10 && step <= 1000) {
		return nil, fmt.Errorf("a grid of %g 1/min; allowed: 10 to 1000", step)
	}
	torque, place, err := r.torque(o.Place)
	if err != nil {
		return nil, err
	}
	correction, err := r.correct(o)
	if err != nil {
		return nil, err
	}
	c := &Curve{Run: r.Name, Place: place, Correction: correction, Step: step}
	samples := make([]Point, 0, s.To-s.From)
	for i := s.From; i < s.To; i++ {
		samples = append(samples, at(float64(speed[i]), float64(torque[i])*correction.Factor))
	}
	c.Raw = samples
	sorted := slices.Clone(samples)
	slices.SortStableFunc(sorted, func(a, b Point) int { return compareFloat(a.Speed, b.Speed) })
	for n := math.Ceil(s.Low / step); n*step <= s.High; n++ {
		c.Points = append(c.Points, at(n*step, local(sorted, n*step, halfWidth)))
	}
	if len(c.Points) < 3 {
		return nil, fmt.Errorf("%s: the sweep from %.0f to %.0f 1/min has %d points on a grid of %g; allowed: three or more", r.Name, s.Low, s.High, len(c.Points), step)
	}
	c.finish()
	return c, nil
}

// finish works out peaks and residuals.
func (c *Curve) finish() {
	for _, p := range c.Points {
		if p.Torque > c.PeakTorque.Torque || c.PeakTorque.Speed == 0 {
			c.PeakTorque = p
		}
		if p.Power > c.PeakPower.Power || c.PeakPower.Speed == 0 {
			c.PeakPower = p
		}
	}
	c.Residuals = make([]float64, len(c.Raw))
	for i, p := range c.Raw {
		c.Residuals[i] = p.Torque - c.TorqueAt(p.Speed)
	}
	c.Spread = spread(c.Residuals)
}

// TorqueAt is the curve's torque between its points, N.m; held at the ends.
func (c *Curve) TorqueAt(speed float64) float64 {
	return between(c.Points, speed)
}

func between(points []Point, speed float64) float64 {
	i := sort.Search(len(points), func(i int) bool { return points[i].Speed > speed })
	switch i {
	case 0:
		return points[0].Torque
	case len(points):
		return points[i-1].Torque
	}
	a, b := points[i-1], points[i]
	t := (speed - a.Speed) / (b.Speed - a.Speed)
	return float64(a.Torque*(1-t)) + float64(b.Torque*t)
}

// at is a point with its power.
func at(speed, torque float64) Point {
	return Point{Speed: speed, Torque: torque, Power: Power(torque, speed)}
}

// Power is torque in N.m at an engine speed in 1/min, in kW.
func Power(torque, speed float64) float64 { return torque * speed * (math.Pi / 30e3) }

// torque is the channel of a place, N.m.
func (r *Run) torque(place Place) ([]float32, Place, error) {
	crank, atCrank := r.Values("torque")
	wheels, atWheels := r.Values("wheel_torque")
	switch {
	case place == "" && atCrank && atWheels:
		return nil, "", fmt.Errorf("%s: torque is recorded at the crank and at the wheels; say which of the two: they are never mixed", r.Name)
	case place == Crank && atCrank, place == "" && atCrank:
		return crank, Crank, nil
	case place == Wheels && atWheels, place == "" && atWheels:
		return wheels, Wheels, nil
	case place == "":
		return nil, "", fmt.Errorf("%s: column torque (at the crank) or wheel_torque is missing: a curve needs one", r.Name)
	case place == Crank || place == Wheels:
		return nil, "", fmt.Errorf("%s: no torque at the %s is recorded", r.Name, place)
	}
	return nil, "", fmt.Errorf("torque at %q; allowed: crank, wheels", string(place))
}

// local is the weighted local line through points, which rise in speed, at x.
func local(points []Point, x, half float64) float64 {
	lo, hi, half := window(points, x, half)
	var w, wx, wy, wxx, wxy float64
	for _, p := range points[lo:hi] {
		d := (p.Speed - x) / half
		u := 1 - math.Abs(float64(d*d)*d)
		if u <= 0 {
			continue
		}
		k := float64(u * u * u)
		w += k
		wx += float64(k * d)
		wy += float64(k * p.Torque)
		wxx += float64(k * d * d)
		wxy += float64(k * d * p.Torque)
	}
	if w == 0 {
		return points[min(lo, len(points)-1)].Torque
	}
	det := float64(w*wxx) - float64(wx*wx)
	if det <= 1e-9*w*w {
		return wy / w // all at one speed: no slope to be had
	}
	return (float64(wxx*wy) - float64(wx*wxy)) / det
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

// median orders values in place.
func median(values []float64) float64 {
	slices.Sort(values)
	n := len(values)
	if n%2 == 1 {
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
