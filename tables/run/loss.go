package run

import (
	"fmt"
	"math"
	"slices"
)

// How losses are found. Common practice, no source.
const (
	coastSamples = 20
	coastWithin  = 10   // s after the sweep, by which the coast-down must have begun
	coastBeyond  = 0.05 // of the sweep's road speeds that may lie outside those of the coast-down
	coastWidth   = 0.15 // of the coast-down's speeds, half width of the line through its losses
)

// withLosses is torque at the crank: what was measured at the wheels, and what a coast-down after the
// sweep shows to be lost, both at one speed of the road. It is refused where no coast-down does.
func (r *Run) withLosses(s Sweep, wheels *measured) (*measured, error) {
	road := r.first("wheel_speed", "roller_speed", "road_speed")
	if road == nil || wheels.power == nil {
		return nil, fmt.Errorf("%s: no torque at the crank is recorded, and losses need a coast-down with the speed of the wheels, rollers or road; allowed: torque at the wheels", r.Name)
	}
	coast := r.coast(s, road, wheels)
	low, high := math.Inf(1), math.Inf(-1)
	for _, i := range s.Rows {
		low, high = min(low, float64(road[i])), max(high, float64(road[i]))
	}
	if len(coast) < coastSamples || coast[0].Speed > low*(1+coastBeyond) || coast[len(coast)-1].Speed < high*(1-coastBeyond) {
		return nil, fmt.Errorf("%s: no torque at the crank is recorded, and no coast-down after the sweep shows the losses from %.0f to %.0f %s; allowed: torque at the wheels",
			r.Name, low, high, r.Unit(r.slowing()))
	}
	width := float64(coastWidth * (coast[len(coast)-1].Speed - coast[0].Speed))
	line := make([]Point, 0, 64)
	for k := range 64 {
		x := coast[0].Speed + float64(float64(k)/63*(coast[len(coast)-1].Speed-coast[0].Speed))
		y, _ := local(coast, x, width)
		line = append(line, Point{Speed: x, Torque: y})
	}
	var rest []float64
	for _, p := range coast {
		rest = append(rest, p.Torque-between(line, p.Speed))
	}
	engine, _ := r.Values("engine_speed")
	drag := func(i int) float64 { // kW for each unit of road speed, as torque at the engine
		return between(line, float64(road[i])) * float64(road[i]) / Power(1, float64(engine[i]))
	}
	gear := medianOf(s.Rows, func(i int) float64 { return float64(road[i]) / Power(1, float64(engine[i])) })
	out := &measured{place: Crank, from: wheels.from + ", and the losses of the coast-down", hole: wheels.hole, plusMinus: 2 * spread(rest) * gear,
		torque: func(i int) float64 { return wheels.torque(i) + drag(i) }}
	first, last := drag(s.Rows[0]), drag(s.Rows[len(s.Rows)-1])
	out.remarks = append(wheels.remarks, Remark{"losses", 0, fmt.Sprintf("losses of %.1f to %.1f N.m by the coast-down after the sweep, ± %.1f N.m by its scatter, are in the torque at the crank: of the clutch and gearbox turning without load they say what a coast-down can",
		first, last, out.plusMinus)})
	return out, nil
}

// slowing is the quantity that a coast-down is told by.
func (r *Run) slowing() string {
	for _, q := range []string{"wheel_speed", "roller_speed", "road_speed"} {
		if _, ok := r.Values(q); ok {
			return q
		}
	}
	return ""
}

// coast is the loss for each unit of road speed, over road speed, while the wheels slow down after a
// sweep and drive the rollers no more.
func (r *Run) coast(s Sweep, road []float32, wheels *measured) []Point {
	values := make([]float64, 0, len(r.Time)-s.To)
	for i := s.To; i < len(r.Time); i++ {
		values = append(values, float64(road[i]))
	}
	smoothed := smooth(r.Time[s.To:], values, smoothing)
	var out []Point
	for k := 1; k < len(values); k++ {
		i := s.To + k
		falls := smoothed[k] < smoothed[k-1] && values[k] > 0
		if len(out) == 0 && r.Time[i] > s.Until+coastWithin || len(out) > 0 && smoothed[k] > smoothed[0]*(1+coastBeyond) {
			break // the next sweep
		}
		if p := wheels.power(i); falls && p < 0 && !wheels.hole(i) {
			out = append(out, Point{Speed: values[k], Torque: -p / values[k]})
		}
	}
	slices.SortStableFunc(out, func(a, b Point) int { return compareFloat(a.Speed, b.Speed) })
	return out
}
