package reckon

import (
	"fmt"
	"math"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
)

// Load is what a torque asks of an engine: torque in N.m, displacement in L, engine speed in 1/min;
// fuel flow in kg/h, 0 where it is not known; limit of the mean effective pressure in kPa, 0 for none.
type Load struct{ Torque, Displacement, Speed, FuelFlow, Limit float64 }

// Reckon is the brake mean effective pressure and power, and with a fuel flow the brake specific consumption.
func (l Load) Reckon() (*calibrationv1.Reckoning, error) {
	bounds := []bound{{"torque", l.Torque, "N.m", 0.1, 10000}, {"displacement", l.Displacement, "L", 0.01, 100}, {"engine_speed", l.Speed, "1/min", 1, 30000}}
	if l.FuelFlow != 0 {
		bounds = append(bounds, bound{"fuel_flow", l.FuelFlow, "kg/h", 0.01, 10000})
	}
	if l.Limit != 0 {
		bounds = append(bounds, bound{"pressure_limit", l.Limit, "kPa", 10, 10000})
	}
	inputs, err := check(bounds)
	if err != nil {
		return nil, fmt.Errorf("load: %w", err)
	}
	pressure := 4 * math.Pi * l.Torque / l.Displacement // N.m/L is kPa
	power := l.Torque * l.Speed * (math.Pi / 30e3)
	r := &calibrationv1.Reckoning{Kind: "load", Inputs: inputs,
		Results:     []*calibrationv1.Quantity{quantity("mean_effective_pressure", pressure, "kPa"), quantity("power", power, "kW")},
		Formula:     "mean_effective_pressure = 4 * pi * torque / displacement; power = torque * 2 * pi * engine_speed",
		Assumptions: []string{"four-stroke: one working stroke of each cylinder in two turns", "torque is at the crank, so both are brake figures"},
		Source:      "H. N. Gupta, Fundamentals of Internal Combustion Engines (2006), examples 16.3 and 16.4, p. 522",
	}
	if l.FuelFlow != 0 {
		r.Results = append(r.Results, quantity("specific_consumption", 1000*l.FuelFlow/power, "g/(kW.h)"))
		r.Formula += "; specific_consumption = fuel_flow / power"
	}
	if l.Limit != 0 && pressure > l.Limit {
		r.Remarks = append(r.Remarks, fmt.Sprintf("a mean effective pressure of %.0f kPa is %.0f kPa above the limit of %g", pressure, pressure-l.Limit, l.Limit))
	}
	return r, nil
}
