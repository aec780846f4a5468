// Package reckon is the arithmetic of parts: what a blower, a compressor, the air and the
// injectors come to. Every result says its formula, inputs, assumptions and source. It is pure.
package reckon

import (
	"fmt"
	"math"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/units"
)

// GasConstant of dry air, J/(kg.K).
const GasConstant = 287.05

// ratioOfHeats of air, and its exponent.
const ratioOfHeats = 1.4

// zero is 0 Cel in K.
const zero = 273.15

// bound is an input and what it may be.
type bound struct {
	name      string
	value     float64
	unit      string
	low, high float64
}

// check refuses an input outside what it may be; NaN is outside.
func check(bounds []bound) ([]*calibrationv1.Quantity, error) {
	var out []*calibrationv1.Quantity
	for _, b := range bounds {
		if !(b.value >= b.low && b.value <= b.high) {
			return nil, fmt.Errorf("%s %g %s; allowed: %g to %g", b.name, b.value, b.unit, b.low, b.high)
		}
		out = append(out, quantity(b.name, b.value, b.unit))
	}
	return out, nil
}

func quantity(name string, value float64, unit string) *calibrationv1.Quantity {
	return &calibrationv1.Quantity{Name: name, Value: value, Unit: unit}
}

// convert is for units that are known to convert.
func convert(from, to string, v float64) float64 {
	out, err := units.Convert(from, to, v)
	if err != nil {
		panic(err)
	}
	return out
}

// Blower is a positive-displacement blower or a supercharger on a belt. Diameters in mm, effective
// (pitch) ones; speeds in 1/min; Gear is its internal ratio, 0 for 1; OldPulley 0 for none.
type Blower struct {
	Crank, Pulley, OldPulley float64
	Gear                     float64
	EngineSpeed, RotorLimit  float64
}

// Reckon is the rotor speed at the engine's highest, its margin, and the ratio against the old pulley's.
func (b Blower) Reckon() (*calibrationv1.Reckoning, error) {
	if b.Gear == 0 {
		b.Gear = 1
	}
	bounds := []bound{
		{"crank_pulley", b.Crank, "mm", 10, 1000}, {"blower_pulley", b.Pulley, "mm", 10, 1000},
		{"internal_ratio", b.Gear, "1", 0.1, 50}, {"engine_speed", b.EngineSpeed, "1/min", 1, 30000},
		{"rotor_speed_limit", b.RotorLimit, "1/min", 1, 500000},
	}
	if b.OldPulley != 0 {
		bounds = append(bounds, bound{"old_blower_pulley", b.OldPulley, "mm", 10, 1000})
	}
	inputs, err := check(bounds)
	if err != nil {
		return nil, fmt.Errorf("blower: %w", err)
	}
	ratio := b.Crank / b.Pulley
	speed := float64(b.EngineSpeed * ratio * b.Gear)
	margin := b.RotorLimit - speed
	r := &calibrationv1.Reckoning{Kind: "blower", Inputs: inputs,
		Results: []*calibrationv1.Quantity{
			quantity("drive_ratio", ratio, "1"), quantity("rotor_speed", speed, "1/min"),
			quantity("margin", margin, "1/min"), quantity("margin_share", 100*margin/b.RotorLimit, "%"),
			quantity("engine_speed_at_limit", b.RotorLimit/(ratio*b.Gear), "1/min"),
		},
		Formula:     "rotor_speed = engine_speed * crank_pulley / blower_pulley * internal_ratio; margin = rotor_speed_limit - rotor_speed",
		Assumptions: []string{"the belt does not slip or stretch", "both diameters are effective (pitch) ones", "the engine speed is the highest that can occur, overrun and missed gears too"},
		Source:      "belt kinematics: equal belt speed on both pulleys; the limit is the blower maker's",
	}
	if b.OldPulley != 0 {
		old := b.Crank / b.OldPulley
		r.Results = append(r.Results, quantity("old_drive_ratio", old, "1"), quantity("ratio_new_to_old", ratio/old, "1"))
	}
	if margin < 0 {
		r.Remarks = append(r.Remarks, fmt.Sprintf("the rotor turns %.0f 1/min too fast: a rotor beyond its limit can burst; do not run it", -margin))
	}
	return r, nil
}

// Compressor is a compressor's outlet: inlet temperature in Cel, pressure ratio of absolute
// pressures, isentropic efficiency from 0 to 1.
type Compressor struct{ Inlet, PressureRatio, Efficiency float64 }

// Reckon is the outlet temperature, its rise, and the density against the inlet's.
func (c Compressor) Reckon() (*calibrationv1.Reckoning, error) {
	inputs, err := check([]bound{{"inlet_temperature", c.Inlet, "Cel", -60, 200},
		{"pressure_ratio", c.PressureRatio, "1", 1, 8}, {"efficiency", c.Efficiency, "1", 0.05, 1}})
	if err != nil {
		return nil, fmt.Errorf("compressor: %w", err)
	}
	t1 := c.Inlet + zero
	rise := t1 * (math.Pow(c.PressureRatio, (ratioOfHeats-1)/ratioOfHeats) - 1) / c.Efficiency
	t2 := t1 + rise
	return &calibrationv1.Reckoning{Kind: "compressor", Inputs: inputs,
		Results: []*calibrationv1.Quantity{
			quantity("outlet_temperature", t2-zero, "Cel"), quantity("outlet_temperature_absolute", t2, "K"),
			quantity("rise", rise, "K"), quantity("density_ratio", c.PressureRatio*t1/t2, "1"),
		},
		Formula:     "T2 = T1 + T1 * (pressure_ratio^((g-1)/g) - 1) / efficiency, absolute temperatures; density_ratio = pressure_ratio * T1 / T2",
		Assumptions: []string{"air is an ideal gas with g = 1.4", "no heat is lost", "the efficiency is the isentropic one, from the compressor's map at this point"},
		Source:      "H. N. Gupta, Fundamentals of Internal Combustion Engines (2006), example 15.1, p. 474",
	}, nil
}

// AirFlow is a four-stroke engine's: displacement in L, speed in 1/min, volumetric efficiency from 0,
// absolute pressure in kPa and temperature in Cel of the air that the efficiency refers to.
type AirFlow struct{ Displacement, Speed, Efficiency, Pressure, Temperature float64 }

// Reckon is the mass flow.
func (a AirFlow) Reckon() (*calibrationv1.Reckoning, error) {
	inputs, err := check([]bound{{"displacement", a.Displacement, "L", 0.01, 100}, {"engine_speed", a.Speed, "1/min", 1, 30000},
		{"volumetric_efficiency", a.Efficiency, "1", 0.05, 3}, {"pressure", a.Pressure, "kPa", 1, 1000}, {"temperature", a.Temperature, "Cel", -60, 300}})
	if err != nil {
		return nil, fmt.Errorf("airflow: %w", err)
	}
	density := a.Pressure * 1000 / (GasConstant * (a.Temperature + zero))
	flow := a.Efficiency * a.Displacement / 1000 * a.Speed / 120 * density
	return &calibrationv1.Reckoning{Kind: "airflow", Inputs: inputs,
		Results: []*calibrationv1.Quantity{
			quantity("density", density, "kg/m3"), quantity("air_flow", flow, "kg/s"),
			quantity("air_flow", convert("kg/s", "kg/h", flow), "kg/h"), quantity("air_flow", convert("kg/s", "[lb_av]/min", flow), "[lb_av]/min"),
		},
		Formula:     "air_flow = volumetric_efficiency * displacement * engine_speed / 2 * density; density = pressure / (287.05 J/(kg.K) * T)",
		Assumptions: []string{"four-stroke: one filling in two turns", "dry air, an ideal gas", "the efficiency refers to this pressure and temperature (at the manifold, or ambient)"},
		Source:      "R. K. Rajput, A Textbook of Internal Combustion Engines, example 7.2, p. 247 (with 287 for 287.05)",
	}, nil
}

// Injector is duty from what the engine needs: air flow in kg/h, lambda, stoichiometric ratio,
// injectors, their flow in cm3/min at the working pressure, fuel density in kg/L, ceiling in %.
type Injector struct {
	AirFlow, Lambda, Stoichiometric float64
	Injectors                       int
	Flow, Density, Ceiling          float64
}

// Reckon is the duty, the room under the ceiling, and the flow that would just reach it.
func (j Injector) Reckon() (*calibrationv1.Reckoning, error) {
	inputs, err := check([]bound{{"air_flow", j.AirFlow, "kg/h", 0.1, 100000}, {"lambda", j.Lambda, "1", 0.3, 3},
		{"stoichiometric_ratio", j.Stoichiometric, "1", 1, 40}, {"injectors", float64(j.Injectors), "1", 1, 64},
		{"injector_flow", j.Flow, "cm3/min", 1, 100000}, {"fuel_density", j.Density, "kg/L", 0.3, 1.5}, {"ceiling", j.Ceiling, "%", 1, 100}})
	if err != nil {
		return nil, fmt.Errorf("injector: %w", err)
	}
	fuel := j.AirFlow / (j.Lambda * j.Stoichiometric)
	each := fuel * 1000 / 60 / j.Density / float64(j.Injectors) // cm3/min: a kg/h is 1000/60 g/min
	duty := float64(100 * each / j.Flow)
	r := &calibrationv1.Reckoning{Kind: "injector", Inputs: inputs,
		Results: []*calibrationv1.Quantity{
			quantity("fuel_flow", fuel, "kg/h"), quantity("flow_each", each, "cm3/min"), quantity("duty", duty, "%"),
			quantity("margin", j.Ceiling-duty, "%"), quantity("flow_for_ceiling", 100*each/j.Ceiling, "cm3/min"),
		},
		Formula:     "fuel_flow = air_flow / (lambda * stoichiometric_ratio); duty = fuel_flow / (injectors * injector_flow * fuel_density)",
		Assumptions: []string{"all the fuel goes through these injectors, shared evenly", "the injector flow holds at the pressure across the injector at this point", "opening and closing times are left out: they ask for more duty"},
		Source:      "conservation of mass; the ceiling is common practice (80 to 85 %), no standard found",
	}
	if duty > j.Ceiling {
		r.Remarks = append(r.Remarks, tooMuchDuty(duty, j.Ceiling))
	}
	return r, nil
}

// Pressure is gauge against absolute: kPa. Ambient 0 takes the standard atmosphere at Altitude, m.
type Pressure struct {
	Gauge, Ambient, Altitude float64
	// Absolute, where it is given and the gauge one is asked for; 0 for none.
	Absolute float64
}

// Reckon is the other of gauge and absolute, and the ratio to ambient.
func (p Pressure) Reckon() (*calibrationv1.Reckoning, error) {
	r := &calibrationv1.Reckoning{Kind: "pressure",
		Formula:     "absolute = gauge + ambient; pressure_ratio = absolute / ambient",
		Assumptions: []string{"the gauge reads against this ambient pressure", "no pressure is lost before the compressor"},
		Source:      "definition of gauge pressure",
	}
	var bounds []bound
	if p.Ambient == 0 {
		bounds = append(bounds, bound{"altitude", p.Altitude, "m", -500, 11000})
		p.Ambient = StandardPressure(p.Altitude)
		r.Formula += "; ambient = 101.325 kPa * (1 - 2.25577e-5/m * altitude)^5.2559"
		r.Assumptions = append(r.Assumptions, "ambient is the standard atmosphere's at this altitude; the day's may differ by 3 kPa")
		r.Source += "; standard atmosphere as the ASHRAE Handbook of Fundamentals has it"
	}
	bounds = append(bounds, bound{"ambient", p.Ambient, "kPa", 20, 120})
	if p.Absolute != 0 {
		bounds = append(bounds, bound{"absolute", p.Absolute, "kPa", 0, 1000})
		p.Gauge = p.Absolute - p.Ambient
	} else {
		bounds = append(bounds, bound{"gauge", p.Gauge, "kPa", -p.Ambient, 1000})
		p.Absolute = p.Gauge + p.Ambient
	}
	var err error
	if r.Inputs, err = check(bounds); err != nil {
		return nil, fmt.Errorf("pressure: %w", err)
	}
	r.Results = []*calibrationv1.Quantity{
		quantity("ambient", p.Ambient, "kPa"), quantity("gauge", p.Gauge, "kPa{gauge}"),
		quantity("absolute", p.Absolute, "kPa"), quantity("pressure_ratio", p.Absolute/p.Ambient, "1"),
	}
	return r, nil
}

// StandardPressure is the standard atmosphere at an altitude in m, kPa.
func StandardPressure(altitude float64) float64 {
	return 101.325 * math.Pow(1-float64(2.25577e-5*altitude), 5.2559)
}
