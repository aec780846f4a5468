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
	peakInside  = 4     // samples within halfWidth that a peak rests on at least
	sure        = 2.5   // standard errors of an interval: more than 1.96, since the scatter is estimated and a peak picks the highest of many
)

// MakeCurve is torque and power over engine speed on a sweep, corrected as asked for. Torque is taken
// from where it was measured, and power is torque times angular speed. Samples that disagree with
// their neighbours are left out, and engine speeds without a sample within half a step. It is an
// error where no channel says torque at the place that was asked for, or where the correction is
// refused.
func MakeCurve(r *Run, s Sweep, o Options) (*Curve, error) {
	step := o.Step
	if step == 0 {
		step = DefaultStep
	}
	if !(step >= 10 && step <= 1000) {
		return nil, fmt.Errorf("a grid of %g 1/min; allowed: 10 to 1000", step)
	}
	engine, err := r.need("engine_speed", "a curve")
	if err != nil {
		return nil, err
	}
	m, err := r.measured(s, o)
	if err != nil {
		return nil, err
	}
	correction, err := r.Correction(s, o)
	if err != nil {
		return nil, err
	}
	c := &Curve{Run: r.Name, Place: m.place, From: m.from, Correction: correction, Step: step, remarks: m.remarks}
	var samples []sample
	for _, i := range s.Rows {
		if m.hole(i) {
			continue
		}
		if p := at(float64(engine[i]), float64(m.torque(i)*correction.Factor)); !math.IsNaN(p.Torque) && !math.IsInf(p.Torque, 0) {
			samples = append(samples, sample{Point: p, row: i, time: r.Time[i]})
		}
	}
	if len(samples) < leastPoints {
		return nil, fmt.Errorf("%s: the sweep has %d samples with a torque; allowed: %d or more", r.Name, len(samples), leastPoints)
	}
	c.Raw = c.sound(samples)
	c.fit(s, m.plusMinus)
	if len(c.Points) < 3 {
		return nil, fmt.Errorf("%s: the sweep from %.0f to %.0f 1/min has %d points on a grid of %g; allowed: three or more", r.Name, s.Low, s.High, len(c.Points), step)
	}
	c.finish()
	return c, nil
}

// fit makes the points of the grid; more is what torque is uncertain by beside its samples, N.m.
func (c *Curve) fit(s Sweep, more float64) {
	sorted := bySpeed(c.Raw)
	var missed []float64
	for n := math.Ceil(s.Low / c.Step); n*c.Step <= s.High; n++ {
		x := float64(n * c.Step)
		i := sort.Search(len(sorted), func(i int) bool { return sorted[i].Speed >= x-float64(c.Step/2) })
		if i == len(sorted) || sorted[i].Speed > x+float64(c.Step/2) {
			missed = append(missed, x)
			continue
		}
		y, norm := local(sorted, x, halfWidth)
		p := at(x, y)
		wide, _ := local(sorted, x, 2*halfWidth)
		p.norm, p.bend = norm, math.Abs(wide-y)
		c.Points = append(c.Points, p)
	}
	c.residuals()
	scatter := float64(c.Spread * c.memory())
	for i, p := range c.Points {
		noise := float64(sure * scatter * math.Sqrt(p.norm))
		c.Points[i].PlusMinus = math.Sqrt(float64((noise+p.bend)*(noise+p.bend)) + float64(more*more))
	}
	c.gaps(missed)
}

// gaps says which engine speeds are left out.
func (c *Curve) gaps(missed []float64) {
	if n := len(missed); n > 0 {
		c.remarks = append(c.remarks, Remark{"gap", missed[0], fmt.Sprintf("no sample within %g 1/min of %d of %d engine speeds from %.0f to %.0f 1/min: they are left out",
			c.Step/2, n, n+len(c.Points), missed[0], missed[n-1])})
	}
}

// finish works out the peaks, of the points that rest on enough samples, and what is left over.
func (c *Curve) finish() {
	sorted := bySpeed(c.Raw)
	enough := func(p Point) bool {
		lo := sort.Search(len(sorted), func(i int) bool { return sorted[i].Speed >= p.Speed-halfWidth })
		return lo+peakInside <= len(sorted) && sorted[lo+peakInside-1].Speed <= p.Speed+halfWidth
	}
	if !slices.ContainsFunc(c.Points, enough) {
		enough = func(Point) bool { return true } // a slow log; it is said
	}
	for _, p := range c.Points {
		if !enough(p) {
			continue
		}
		if p.Torque > c.PeakTorque.Torque || c.PeakTorque.Speed == 0 {
			c.PeakTorque = p
		}
		if p.Power > c.PeakPower.Power || c.PeakPower.Speed == 0 {
			c.PeakPower = p
		}
	}
	c.residuals()
}

// residuals is what the points leave of the samples.
func (c *Curve) residuals() {
	c.Residuals = make([]float64, len(c.Raw))
	for i, p := range c.Raw {
		if len(c.Points) > 0 {
			c.Residuals[i] = p.Torque - c.TorqueAt(p.Speed)
		}
	}
	c.Spread = spread(c.Residuals)
}

// memory is how much wider the samples' mean scatters than if each were new: by their correlation from
// one to the next, as a first-order process has it.
func (c *Curve) memory() float64 {
	var own, next float64
	bound := 5 * c.Spread
	for i := 1; i < len(c.Residuals); i++ {
		a, b := c.Residuals[i-1], c.Residuals[i]
		if math.Abs(a) > bound || math.Abs(b) > bound {
			continue
		}
		own += float64(a * a)
		next += float64(a * b)
	}
	if own == 0 {
		return 1
	}
	rho := min(max(next/own, 0), 0.95)
	return math.Sqrt((1 + rho) / (1 - rho))
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
func Power(torque, speed float64) float64 { return float64(torque * speed * (math.Pi / 30e3)) }

func bySpeed(points []Point) []Point {
	sorted := slices.Clone(points)
	slices.SortStableFunc(sorted, func(a, b Point) int { return compareFloat(a.Speed, b.Speed) })
	return sorted
}
