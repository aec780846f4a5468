package reckon

import (
	"fmt"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
)

// heatOfAir at constant pressure, kJ/(kg.K).
const heatOfAir = 1.005

// Cooler is a charge cooler: temperatures in Cel of the charge before it and of the air or water that
// cools, effectiveness from 0 to 1; absolute pressure before it and loss across it in kPa, 0 for none
// known; air flow in kg/h, 0 where it is not known; limit of the outlet in Cel, 0 for none.
type Cooler struct{ Inlet, Coolant, Effectiveness, Pressure, Loss, AirFlow, Limit float64 }

// Reckon is the outlet temperature, the ratio of densities, and with an air flow the heat that it takes out.
func (c Cooler) Reckon() (*calibrationv1.Reckoning, error) {
	bounds := []bound{{"inlet_temperature", c.Inlet, "Cel", -60, 400}, {"coolant_temperature", c.Coolant, "Cel", -60, 120}, {"effectiveness", c.Effectiveness, "1", 0, 1}}
	if c.Pressure != 0 || c.Loss != 0 {
		bounds = append(bounds, bound{"pressure", c.Pressure, "kPa", 20, 1000}, bound{"pressure_loss", c.Loss, "kPa", 0, c.Pressure / 2})
	}
	if c.AirFlow != 0 {
		bounds = append(bounds, bound{"air_flow", c.AirFlow, "kg/h", 0.1, 100000})
	}
	if c.Limit != 0 {
		bounds = append(bounds, bound{"outlet_limit", c.Limit, "Cel", -60, 400})
	}
	inputs, err := check(bounds)
	if err != nil {
		return nil, fmt.Errorf("cooler: %w", err)
	}
	drop := float64(c.Effectiveness * (c.Inlet - c.Coolant))
	outlet := c.Inlet - drop
	ratio := (c.Inlet + zero) / (outlet + zero)
	if c.Pressure != 0 {
		ratio *= (c.Pressure - c.Loss) / c.Pressure
	}
	r := &calibrationv1.Reckoning{Kind: "cooler", Inputs: inputs,
		Results:     []*calibrationv1.Quantity{quantity("outlet_temperature", outlet, "Cel"), quantity("drop", drop, "K"), quantity("density_ratio", ratio, "1")},
		Formula:     "outlet = inlet - effectiveness * (inlet - coolant); density_ratio = (pressure - pressure_loss) / pressure * inlet / outlet, absolute temperatures",
		Assumptions: []string{"air is an ideal gas", "the coolant's temperature is that at the cooler, behind what warms it", "the effectiveness is that of this flow: a cooler that is soaked with heat has less"},
		Source:      "definition of effectiveness; the heat of H. N. Gupta, Fundamentals of Internal Combustion Engines (2006), example 15.5, p. 482",
	}
	if c.AirFlow != 0 {
		r.Results = append(r.Results, quantity("heat", c.AirFlow/3600*heatOfAir*drop, "kW"))
		r.Formula += "; heat = air_flow * 1.005 kJ/(kg.K) * drop"
	}
	if c.Limit != 0 && outlet > c.Limit {
		r.Remarks = append(r.Remarks, fmt.Sprintf("the charge leaves at %.1f Cel, %.1f K above the limit of %g", outlet, outlet-c.Limit, c.Limit))
	}
	return r, nil
}
