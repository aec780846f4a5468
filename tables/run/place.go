package run

import (
	"fmt"
	"math"
)

// measured is torque as it acts at the engine's speed, and where it was measured.
type measured struct {
	place     Place
	from      string              // the columns and figures that it is made of
	torque    func(i int) float64 // N.m at engine speed
	power     func(i int) float64 // kW as measured, without the engine's speed; nil where there is none
	hole      func(i int) bool    // rows without a value
	plusMinus float64             // N.m that it is uncertain by beside its samples
	remarks   []Remark
}

// way is one way in which torque is measured; make refuses where something lacks that it needs.
type way struct {
	quantity string
	place    Place
	make     func(r *Run, o Options) (*measured, error)
}

// ways, best first at each place.
var ways = []way{
	{"torque", Crank, ofTorque},
	{"power", Crank, func(r *Run, o Options) (*measured, error) { return r.ofPower("power", nil), nil }},
	{"wheel_torque", Wheels, ofWheelTorque},
	{"wheel_power", Wheels, func(r *Run, o Options) (*measured, error) { return r.ofPower("wheel_power", nil), nil }},
	{"tractive_force", Wheels, ofForce},
}

// measured is torque at the place that the options ask for, "" the first that the run has. At the crank of
// a car that was measured at the wheels, it is with the losses that a coast-down shows.
func (r *Run) measured(s Sweep, o Options) (*measured, error) {
	if o.Place != "" && o.Place != Crank && o.Place != Wheels {
		return nil, fmt.Errorf("torque at %q; allowed: crank, wheels", string(o.Place))
	}
	if o.Ratio < 0 || o.Circumference < 0 {
		return nil, fmt.Errorf("ratio %g and circumference %g m; allowed: above 0", o.Ratio, o.Circumference)
	}
	m, err := r.at(o.Place, o)
	if o.Place == Crank && m == nil {
		wheels, wheelsErr := r.at(Wheels, o)
		if wheelsErr != nil {
			return nil, wheelsErr
		}
		if wheels != nil {
			return r.withLosses(s, wheels)
		}
	}
	switch {
	case err != nil:
		return nil, err
	case m == nil && o.Place != "":
		return nil, fmt.Errorf("%s: no torque at the %s is recorded", r.Name, o.Place)
	case m == nil:
		return nil, fmt.Errorf("%s: column torque or power (at the crank), wheel_torque, wheel_power or tractive_force (at the wheels) is missing: a curve needs one", r.Name)
	}
	if _, ok := r.Values("wheel_torque"); !ok && (o.Ratio > 0 || o.Circumference > 0) {
		return nil, fmt.Errorf("%s: a ratio or a circumference is of a column wheel_torque, and there is none", r.Name)
	}
	if o.Place == "" && m.place == Crank {
		if w, _ := r.at(Wheels, o); w != nil {
			return r.oneOf(s, m, w), nil
		}
	}
	return m, nil
}

// oneOf is the crank of two places, unless what is called power is that of the wheels; it is said.
func (r *Run) oneOf(s Sweep, crank, wheels *measured) *measured {
	if q := medianOf(s.Rows, func(i int) float64 { return crank.torque(i) / wheels.torque(i) }); crank.power != nil && math.Abs(q-1) <= powerShare {
		wheels.remarks = append(wheels.remarks, Remark{"place", 0, fmt.Sprintf("column %.80s is the power at the wheels, as %s make it", crank.from, wheels.from)})
		return wheels
	}
	crank.remarks = append(crank.remarks, Remark{"place", 0, fmt.Sprintf("torque is recorded at the crank (%s) and at the wheels (%s); the crank was taken: the two are never mixed", crank.from, wheels.from)})
	return crank
}

// at is the first way at a place that has what it needs; nil where there is none, and then the error of
// the first that lacked something.
func (r *Run) at(place Place, o Options) (*measured, error) {
	var first error
	for _, w := range ways {
		if _, ok := r.Values(w.quantity); !ok || place != "" && place != w.place {
			continue
		}
		m, err := w.make(r, o)
		if err == nil {
			m.place = w.place
			return m, nil
		}
		if first == nil {
			first = fmt.Errorf("%s: %w", r.Name, err)
		}
	}
	return nil, first
}

func (r *Run) header(quantity string) string {
	for _, c := range r.Channels {
		if c.Quantity == quantity {
			return c.Header
		}
	}
	return quantity
}

func ofTorque(r *Run, _ Options) (*measured, error) {
	v, _ := r.Values("torque")
	m := &measured{from: r.header("torque"), torque: func(i int) float64 { return float64(v[i]) }, hole: r.holed("torque")}
	m.remarks = r.disagreeing(v)
	return m, nil
}

// powerShare is how far power may be from what torque makes of it. Common practice, no source.
const powerShare = 0.03

// disagreeing remarks a column of power that is not what the one of torque makes.
func (r *Run) disagreeing(torque []float32) []Remark {
	power, ok := r.Values("power")
	engine, _ := r.Values("engine_speed")
	if !ok {
		return nil
	}
	var ratio []float64
	for i, p := range power {
		if t := Power(float64(torque[i]), float64(engine[i])); t > 5 {
			ratio = append(ratio, float64(p)/t)
		}
	}
	if q := median(ratio); math.Abs(q-1) > powerShare {
		return []Remark{{"place", 0, fmt.Sprintf("column %.80s is %.2f times what column %.80s makes of the engine's speed: another place, unit or correction; torque was taken", r.header("power"), q, r.header("torque"))}}
	}
	return nil
}

// ofPower is a channel of power, or power as it was worked out.
func (r *Run) ofPower(quantity string, power func(i int) float64) *measured {
	engine, _ := r.Values("engine_speed")
	m := &measured{from: r.header(quantity), power: power, hole: r.holed(quantity)}
	if power == nil {
		v, _ := r.Values(quantity)
		m.power = func(i int) float64 { return float64(v[i]) }
	}
	m.torque = func(i int) float64 { return m.power(i) / Power(1, float64(engine[i])) }
	return m
}

// ofWheelTorque divides by the overall ratio: the one given, or that of the turning wheel.
func ofWheelTorque(r *Run, o Options) (*measured, error) {
	v, _ := r.Values("wheel_torque")
	if o.Ratio > 0 {
		return &measured{from: fmt.Sprintf("%s, ratio %g", r.header("wheel_torque"), o.Ratio),
			torque: func(i int) float64 { return float64(v[i]) / o.Ratio }, hole: r.holed("wheel_torque")}, nil
	}
	turns, from := r.turning(o)
	if turns == nil {
		return nil, fmt.Errorf("wheel_torque needs the overall ratio of engine to wheel; allowed: a column wheel_speed [1/min], a column roller_speed [km/h] and the circumference, or a ratio (--ratio R)")
	}
	m := r.ofPower("wheel_torque", func(i int) float64 { return Power(float64(v[i]), turns(i)) })
	m.from += from
	m.hole = r.holed("wheel_torque", "wheel_speed", "roller_speed")
	return m, nil
}

// turning is how fast that turns whose torque is measured, 1/min: recorded, or the speed of the
// roller's face over the circumference.
func (r *Run) turning(o Options) (func(i int) float64, string) {
	if v, ok := r.Values("wheel_speed"); ok {
		return func(i int) float64 { return float64(v[i]) }, ", " + r.header("wheel_speed")
	}
	face := r.first("roller_speed", "road_speed")
	round := o.Circumference
	if v, ok := r.Values("roller_circumference"); ok && round == 0 {
		round = float64(v[0])
	}
	if face == nil || !(round > 0) {
		return nil, ""
	}
	return func(i int) float64 { return float64(face[i]) / 3.6 * 60 / round }, fmt.Sprintf(", speed of the roller over a circumference of %g m", round)
}

// ofForce is the pull of the tyres times the speed of the road.
func ofForce(r *Run, _ Options) (*measured, error) {
	force, _ := r.Values("tractive_force")
	road, name := r.first("road_speed"), "road_speed"
	if road == nil {
		road, name = r.first("roller_speed"), "roller_speed"
	}
	if road == nil {
		return nil, fmt.Errorf("tractive_force needs the speed that it acts at; allowed: a column road_speed [km/h] or roller_speed [km/h]")
	}
	m := r.ofPower("tractive_force", func(i int) float64 { return float64(force[i]) * float64(road[i]) / 3600 })
	m.from += ", " + r.header(name)
	m.hole = r.holed("tractive_force", name)
	return m, nil
}
