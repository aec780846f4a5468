package reckon

import (
	"fmt"
	"math"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
)

// Choke is air through a restriction: its diameter in mm, the coefficient of discharge, absolute pressure
// in kPa and temperature in Cel of the air at rest before it; absolute pressure behind it in kPa, 0 for as
// low as it gets; the air flow that is wanted in kg/h, 0 for none.
type Choke struct{ Diameter, Coefficient, Pressure, Temperature, Behind, AirFlow float64 }

// Reckon is the flow, the most that passes whatever the pressure behind it, and from which pressure on.
func (c Choke) Reckon() (*calibrationv1.Reckoning, error) {
	bounds := []bound{{"diameter", c.Diameter, "mm", 0.1, 1000}, {"coefficient", c.Coefficient, "1", 0.1, 1},
		{"pressure", c.Pressure, "kPa", 1, 1000}, {"temperature", c.Temperature, "Cel", -60, 1200}}
	if c.Behind != 0 {
		bounds = append(bounds, bound{"pressure_behind", c.Behind, "kPa", 0, c.Pressure})
	}
	if c.AirFlow != 0 {
		bounds = append(bounds, bound{"air_flow", c.AirFlow, "kg/h", 0.1, 100000})
	}
	inputs, err := check(bounds)
	if err != nil {
		return nil, fmt.Errorf("choke: %w", err)
	}
	const g = ratioOfHeats
	critical := math.Pow(2/(g+1), g/(g-1))
	flow := func(ratio float64) float64 { // kg/h
		area := math.Pi / 4 * c.Diameter * c.Diameter * 1e-6
		mach := 2 / (g - 1) * (math.Pow(ratio, -(g-1)/g) - 1) // squared
		flux := c.Pressure * 1000 * math.Sqrt(g/(GasConstant*(c.Temperature+zero))*mach) * math.Pow(ratio, (g+1)/(2*g))
		return 3600 * c.Coefficient * area * flux
	}
	most := flow(critical)
	r := &calibrationv1.Reckoning{Kind: "choke", Inputs: inputs,
		Results: []*calibrationv1.Quantity{
			quantity("air_flow_choked", most, "kg/h"), quantity("air_flow_choked", convert("kg/h", "kg/s", most), "kg/s"),
			quantity("critical_ratio", critical, "1"), quantity("chokes_below", critical*c.Pressure, "kPa"),
		},
		Formula: "critical_ratio = (2/(g+1))^(g/(g-1)); air_flow = coefficient * area * pressure * M * sqrt(g/(R*T)) * (pressure_behind/pressure)^((g+1)/(2*g)), " +
			"M^2 = 2/(g-1) * ((pressure/pressure_behind)^((g-1)/g) - 1), pressure_behind no lower than where it chokes",
		Assumptions: []string{"air is an ideal gas with g = 1.4, R = 287.05 J/(kg.K)", "it is at rest before the restriction, and no heat passes", "the coefficient holds at this flow"},
		Source:      "isentropic flow (NACA report 1135, relations from memory)",
	}
	if c.Behind != 0 {
		r.Results = append(r.Results, quantity("air_flow", flow(max(c.Behind/c.Pressure, critical)), "kg/h"))
	}
	if c.AirFlow > most {
		r.Remarks = append(r.Remarks, fmt.Sprintf("an air flow of %g kg/h does not pass: %.1f kg/h is the most", c.AirFlow, most))
	}
	return r, nil
}
