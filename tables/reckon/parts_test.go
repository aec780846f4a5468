package reckon

import (
	"math"
	"strings"
	"testing"
)

// Geometry: 15 ms at 3000 1/min are 37.5 % of two turns, and so on; 20 ms at 6000 are static.
func TestDuty(t *testing.T) {
	for _, c := range [][3]float64{{15, 3000, 37.5}, {15, 6000, 75}, {10, 6000, 50}, {12.75, 7200, 76.5}, {16, 6375, 85}, {18, 6000, 90}, {20, 6000, 100}} {
		d := Duty{Width: c[0], Speed: c[1], Ceiling: 85}
		near(t, "duty", result(t, d, "duty", "%"), c[2], 1e-9)
		near(t, "at the ceiling", Duty{Width: result(t, d, "pulse_width_at_ceiling", "ms"), Speed: c[1]}.Width*c[1]/1200, 85, 1e-9)
		if m, _ := d.Reckon(); (len(m.Remarks) == 1) != (c[2] > 85) {
			t.Errorf("%v: %q", c, m.Remarks)
		}
	}
}

// H. N. Gupta, Fundamentals of Internal Combustion Engines (2006), p. 522. Example 16.4: 160 N at 0.35 m, 3000
// 1/min, four of bore 60 and stroke 85 mm: 17.593 kW, 7.32 bar; 6.6 L/h of 0.78 kg/L: 0.293 kg/(kW.h).
// Example 16.3: 120 N.m, four of 90 by 100 mm: 5.93 bar.
func TestLoad(t *testing.T) {
	litres := func(bore, stroke float64) float64 { return 4 * math.Pi / 4 * bore * bore * stroke * 1e-6 }
	l := Load{Torque: 160 * 0.35, Displacement: litres(60, 85), Speed: 3000, FuelFlow: 6.6 * 0.78, Limit: 700}
	near(t, "power", result(t, l, "power", "kW"), 17.592919, 1e-6)
	near(t, "pressure", result(t, l, "mean_effective_pressure", "kPa"), 732.0261, 1e-4)
	near(t, "consumption", result(t, l, "specific_consumption", "g/(kW.h)"), 292.618, 1e-3)
	near(t, "example 16.3", result(t, Load{Torque: 120, Displacement: litres(90, 100), Speed: 3000}, "mean_effective_pressure", "kPa"), 592.5926, 1e-4)
	if m, _ := l.Reckon(); len(m.Remarks) != 1 || !strings.Contains(m.Remarks[0], "32 kPa above the limit of 700") {
		t.Errorf("%q", m.Remarks)
	}
}

// Gupta, example 15.5, p. 482: 348.923 K become 330 K, which rejects 5.1411 kJ/s; the air flow of 4.5 L at 4000
// 1/min with 1.5 of 1 bar and 290 K (R = 287) is by hand 0.270336 kg/s.
func TestCooler(t *testing.T) {
	flow := 1e5 / (287 * 290) * 0.0045 * 4000 / 120 * 1.5
	c := Cooler{Inlet: 348.923009 - 273.15, Coolant: 290 - 273.15, Effectiveness: 18.923009 / 58.923009, AirFlow: 3600 * flow}
	near(t, "outlet", result(t, c, "outlet_temperature", "Cel"), 330-273.15, 1e-6)
	near(t, "heat", result(t, c, "heat", "kW"), 5.1411, 1e-4)
	near(t, "density", result(t, c, "density_ratio", "1"), 348.923009/330, 1e-9)
	// By hand: 120 Cel to 40 of 25 at 0.8421; 200 kPa lose 8: 192/200 * 393.15/313.15.
	c = Cooler{Inlet: 120, Coolant: 25, Effectiveness: 80.0 / 95, Pressure: 200, Loss: 8, Limit: 35}
	near(t, "density", result(t, c, "density_ratio", "1"), 0.96*393.15/313.15, 1e-9)
	if m, _ := c.Reckon(); len(m.Remarks) != 1 || !strings.Contains(m.Remarks[0], "leaves at 40.0 Cel, 5.0 K above") {
		t.Errorf("%q", m.Remarks)
	}
}

// The critical ratio of g = 1.4, 0.528281787717 (NACA report 1135; the number from memory, computed). The flow that
// chokes is 0.0404184 kg.sqrt(K)/(N.s) of pressure over the root of temperature (from memory, computed from the
// closed form, which is not the one in the code): 241.3 kg/s for each m2 of the standard atmosphere.
func TestChoke(t *testing.T) {
	c := Choke{Diameter: 2000 / math.Sqrt(math.Pi), Coefficient: 1, Pressure: 101.325, Temperature: 15}
	c.Diameter /= 10 // 0.01 m2
	near(t, "critical", result(t, c, "critical_ratio", "1"), 0.528281787717, 1e-12)
	closed := math.Sqrt(1.4/287.05) * math.Pow(1.2, -3)
	near(t, "closed form", closed, 0.0404184, 5e-6) // which is with R = 287
	near(t, "choked", result(t, c, "air_flow_choked", "kg/s"), 0.01*closed*101325/math.Sqrt(288.15), 1e-9)
	near(t, "choked", result(t, c, "air_flow_choked", "kg/s")/0.01, 241.3, 0.1)
	// Below the critical ratio it flows no more, above it less, and without a difference nothing.
	most := result(t, c, "air_flow_choked", "kg/h")
	for _, behind := range []float64{20, 53} {
		c.Behind = behind
		near(t, "behind", result(t, c, "air_flow", "kg/h"), most, 1e-9)
	}
	c.Behind = 101.325
	near(t, "at rest", result(t, c, "air_flow", "kg/h"), 0, 1e-9)
	// Incompressible where the difference is small: sqrt(2 * rho * dp) by area.
	c.Behind = 101.275
	near(t, "slow", result(t, c, "air_flow", "kg/h"), 3600*0.01*math.Sqrt(2*101325/(287.05*288.15)*50), 0.5)
	c.AirFlow = most + 1
	if m, _ := c.Reckon(); len(m.Remarks) != 1 || !strings.Contains(m.Remarks[0], "does not pass") {
		t.Errorf("%q", m.Remarks)
	}
}

// By composition, computed apart from this code with 3.774 of atmospheric nitrogen; blends from the ends that the US
// Department of Energy publishes (petrol 14.7, ethanol 9), mixed by mass: E10 is 14.1 and E85 9.8.
func TestMixture(t *testing.T) {
	for name, want := range map[string]float64{"C2H6O": 9.0044, "CH4O": 6.4731, "C8H18": 15.1308, "CH1.85": 14.5740, "CH1.87": 14.6026, "C7H8": 13.5061, "CH4": 17.2379,
		"petrol": 14.7, "ethanol": 9, "diesel": 14.7, "methanol": 6.45} {
		near(t, name, result(t, Mixture{Parts: []Part{{Fuel: name, Share: 1}}}, "stoichiometric_ratio", "1"), want, 6e-5)
	}
	blend := func(ethanol float64) Mixture {
		return Mixture{Parts: []Part{{Fuel: "ethanol", Share: ethanol}, {Fuel: "petrol", Share: 100 - ethanol}}, Lambda: 0.85, Ratio: 9}
	}
	near(t, "E10", result(t, blend(10), "stoichiometric_ratio", "1"), 14.0999, 5e-5)
	near(t, "E10", result(t, blend(10), "mass_share_ethanol", "%"), 10.528, 5e-4)
	near(t, "E85", result(t, blend(85), "stoichiometric_ratio", "1"), 9.8141, 5e-5)
	near(t, "E85", result(t, blend(85), "air_fuel_ratio", "1"), 0.85*9.8141, 5e-5)
	near(t, "E85", result(t, blend(85), "density", "kg/L"), 0.85*0.789+0.15*0.745, 1e-9)
	near(t, "by mass", result(t, Mixture{Parts: blend(85).Parts, ByMass: true}, "stoichiometric_ratio", "1"), 9.855, 1e-9)
	petrol := Mixture{Parts: []Part{{Fuel: "petrol", Share: 1}}, Lambda: 0.85, Ratio: 11.8}
	near(t, "lambda 0.85", result(t, petrol, "air_fuel_ratio", "1"), 12.495, 1e-9)
	near(t, "11.8", result(t, petrol, "lambda", "1"), 0.802721, 5e-7)
	for text, want := range map[string]Part{"petrol": {"petrol", 1, 0}, "ethanol=85": {"ethanol", 85, 0}, "C8H18=5:0.69": {"C8H18", 5, 0.69}} {
		if p, err := ParsePart(text); err != nil || p != want {
			t.Errorf("%s: %v %v", text, p, err)
		}
	}
	for _, text := range []string{"petrol=", "petrol=-1", "petrol=x", "petrol=1:0", "petrol=NaN"} {
		if _, err := ParsePart(text); err == nil || !strings.Contains(err.Error(), "ethanol=85") {
			t.Errorf("%s: %v", text, err)
		}
	}
}
