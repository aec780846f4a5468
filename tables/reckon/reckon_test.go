package reckon

import (
	"math"
	"strings"
	"testing"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
)

type reckoner interface {
	Reckon() (*calibrationv1.Reckoning, error)
}

// result is the value of a result in a unit.
func result(t *testing.T, r reckoner, name, unit string) float64 {
	t.Helper()
	m, err := r.Reckon()
	if err != nil {
		t.Fatal(err)
	}
	if m.Formula == "" || m.Source == "" || len(m.Assumptions) == 0 || len(m.Inputs) == 0 {
		t.Errorf("%s does not say what it rests on: %v", m.Kind, m)
	}
	for _, q := range m.Results {
		if q.Name == name && q.Unit == unit {
			return q.Value
		}
	}
	t.Fatalf("%s has no %s in %s", m.Kind, name, unit)
	return 0
}

func near(t *testing.T, what string, got, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance) {
		t.Errorf("%s: %.10g, want %.10g within %g", what, got, want, tolerance)
	}
}

// Outlet temperatures of textbooks: H. N. Gupta, Fundamentals of Internal Combustion Engines (2006),
// examples 15.1 (p. 474) and 15.5 (p. 482); R. K. Rajput, A Textbook of Internal Combustion Engines,
// example 16.1 (p. 525); then rows of the formula, computed apart from this code.
func TestCompressor(t *testing.T) {
	for _, c := range []struct{ t1, ratio, efficiency, t2, density float64 }{
		{288, 1.6, 0.74, 343.934557, 0}, {290, 1.8, 0.90, 348.923009, 0}, {325, 1.6, 0.7, 391.7275, 0},
		{298.15, 1.7, 0.60, 379.497275, 1.335595888}, {298.15, 2, 0.70, 391.434173, 1.523372361},
		{293.15, 1.5, 1, 329.155932, 0}, {300, 1, 0.7, 300, 1},
	} {
		r := Compressor{Inlet: c.t1 - 273.15, PressureRatio: c.ratio, Efficiency: c.efficiency}
		near(t, "T2", result(t, r, "outlet_temperature_absolute", "K"), c.t2, 5e-5)
		near(t, "T2", result(t, r, "outlet_temperature", "Cel"), c.t2-273.15, 5e-5)
		if c.density != 0 {
			near(t, "density ratio", result(t, r, "density_ratio", "1"), c.density, 1e-8)
		}
	}
}

// Belt kinematics by hand: 180/75 of 6500 1/min is 15600; 7.5 in on 2.8 in, with 3.54 inside, 61633.93.
func TestBlower(t *testing.T) {
	b := Blower{Crank: 180, Pulley: 75, OldPulley: 80, EngineSpeed: 6500, RotorLimit: 16000}
	near(t, "rotor speed", result(t, b, "rotor_speed", "1/min"), 15600, 1e-9)
	near(t, "margin", result(t, b, "margin", "1/min"), 400, 1e-9)
	near(t, "margin share", result(t, b, "margin_share", "%"), 2.5, 1e-9)
	near(t, "old ratio", result(t, b, "old_drive_ratio", "1"), 2.25, 1e-12)
	near(t, "new to old", result(t, b, "ratio_new_to_old", "1"), 80.0/75, 1e-12)
	near(t, "engine speed at the limit", result(t, b, "engine_speed_at_limit", "1/min"), 16000/2.4, 1e-9)
	geared := Blower{Crank: 7.5 * 25.4, Pulley: 2.8 * 25.4, Gear: 3.54, EngineSpeed: 6500, RotorLimit: 60000}
	near(t, "geared", result(t, geared, "rotor_speed", "1/min"), 61633.928571, 1e-6)
	if m, _ := geared.Reckon(); len(m.Remarks) != 1 || !strings.Contains(m.Remarks[0], "1634 1/min too fast") {
		t.Errorf("remarks %q", m.Remarks)
	}
	if m, _ := b.Reckon(); len(m.Remarks) != 0 {
		t.Errorf("remarks %q", m.Remarks)
	}
}

// Densities and flows computed apart from this code; the standard atmosphere's 1.225 kg/m3 at sea level,
// from memory, to 1e-4. Rajput, example 7.2 (p. 247): 4066 cm3 at 3600 1/min and 15 Cel,
// 101.3 kPa take 7.625333 kg/min at an efficiency of 0.85 (0.850127 with R = 287).
func TestAirFlow(t *testing.T) {
	for _, c := range []struct{ efficiency, litres, speed, kPa, kelvin, kgs, kgh, lbmin, density float64 }{
		{0.90, 2, 6000, 101.325, 288.15, 0.110251, 396.9040, 14.5837, 1.225012},
		{0.85, 5, 3000, 100, 298.15, 0.124147, 446.9296, 16.4219, 1.168443},
		{1, 1.6, 7000, 101.325, 293.15, 0.112384, 404.5838, 14.8659, 1.204118},
	} {
		a := AirFlow{Displacement: c.litres, Speed: c.speed, Efficiency: c.efficiency, Pressure: c.kPa, Temperature: c.kelvin - 273.15}
		near(t, "kg/s", result(t, a, "air_flow", "kg/s"), c.kgs, 6e-7)
		near(t, "kg/h", result(t, a, "air_flow", "kg/h"), c.kgh, 6e-5)
		near(t, "lb/min", result(t, a, "air_flow", "[lb_av]/min"), c.lbmin, 6e-5)
		near(t, "density", result(t, a, "density", "kg/m3"), c.density, 6e-7)
	}
	sea := AirFlow{Displacement: 1, Speed: 1000, Efficiency: 1, Pressure: 101.325, Temperature: 15}
	near(t, "standard atmosphere", result(t, sea, "density", "kg/m3"), 1.225, 1e-4)
	// psychrolib's tests hold ASHRAE's dry air at 25 Cel: 1/0.8443 kg/m3, to 1e-3.
	sea.Temperature = 25
	near(t, "ASHRAE", result(t, sea, "density", "kg/m3"), 1/0.8443, 1e-3)
	book := AirFlow{Displacement: 4.066, Speed: 3600, Efficiency: 0.850127, Pressure: 101.3, Temperature: 15}
	near(t, "example 7.2", 60*result(t, book, "air_flow", "kg/s"), 7.625333, 0.01)
}

func TestInjector(t *testing.T) {
	// The size rule 300 hp * 0.5 lb/(hp.h) on four at 80 % asks for 46.875 lb/h each: 472.4921 cm3/min at
	// 0.75 kg/L. The same fuel flow, 150 lb/h, comes of 14.7 times as much air at lambda 1.
	fuel := 150 * 0.45359237
	j := Injector{AirFlow: fuel * 14.7 * 0.85, Lambda: 0.85, Stoichiometric: 14.7, Injectors: 4, Flow: 472.4921, Density: 0.75, Ceiling: 80}
	near(t, "duty", result(t, j, "duty", "%"), 80, 1e-5)
	near(t, "fuel", result(t, j, "fuel_flow", "kg/h"), fuel, 1e-9)
	near(t, "flow for the ceiling", result(t, j, "flow_for_ceiling", "cm3/min"), 472.4921, 1e-4)
	j.Flow = 440
	if m, _ := j.Reckon(); len(m.Remarks) != 1 || !strings.Contains(m.Remarks[0], "above the ceiling of 80 %") {
		t.Errorf("remarks %q", m.Remarks)
	}
}

// By definition; 10 psi is 68.94757293 kPa. The atmosphere at 0, 500, 1000 and 4000 m as
// psychrolib's tests have it from ASHRAE, to 1 Pa.
func TestPressure(t *testing.T) {
	for _, c := range [][4]float64{
		{68.94757293168361, 101.325, 170.272573, 1.680459639}, {80, 100, 180, 1.8}, {80, 84.5, 164.5, 1.946745562}, {0, 100, 100, 1},
	} {
		p := Pressure{Gauge: c[0], Ambient: c[1]}
		near(t, "absolute", result(t, p, "absolute", "kPa"), c[2], 1e-6)
		near(t, "ratio", result(t, p, "pressure_ratio", "1"), c[3], 1e-9)
		back := Pressure{Absolute: result(t, p, "absolute", "kPa"), Ambient: c[1]}
		near(t, "gauge", result(t, back, "gauge", "kPa{gauge}"), c[0], 1e-9)
	}
	near(t, "vacuum", result(t, Pressure{Absolute: 60, Ambient: 101.325}, "gauge", "kPa{gauge}"), -41.325, 1e-9)
	for _, c := range [][2]float64{{0, 101325}, {500, 95461}, {1000, 89875}, {4000, 61640}} {
		near(t, "atmosphere", 1000*result(t, Pressure{Altitude: c[0]}, "ambient", "kPa"), c[1], 1)
	}
}

func TestInputsRefused(t *testing.T) {
	for want, r := range map[string]reckoner{
		"blower: crank_pulley 0 mm; allowed: 10 to 1000":    Blower{Pulley: 75, EngineSpeed: 6000, RotorLimit: 1},
		"compressor: pressure_ratio 0.5 1; allowed: 1 to 8": Compressor{Inlet: 20, PressureRatio: 0.5, Efficiency: 0.7},
		"compressor: efficiency 70 1":                       Compressor{Inlet: 20, PressureRatio: 2, Efficiency: 70},
		"airflow: displacement 1800 L":                      AirFlow{Displacement: 1800, Speed: 6000, Efficiency: 1, Pressure: 100},
		"airflow: temperature NaN":                          AirFlow{Displacement: 1, Speed: 6000, Efficiency: 1, Pressure: 100, Temperature: math.NaN()},
		"injector: injectors 0":                             Injector{AirFlow: 100, Lambda: 1, Stoichiometric: 14.7, Flow: 400, Density: 0.75, Ceiling: 85},
		"pressure: altitude 20000 m":                        Pressure{Gauge: 50, Altitude: 20000},
		"pressure: gauge -120 kPa":                          Pressure{Gauge: -120, Ambient: 100},
		"pressure: ambient 14.7 kPa":                        Pressure{Gauge: 50, Ambient: 14.7},
		"duty: pulse_width -1 ms":                           Duty{Width: -1, Speed: 6000, Ceiling: 85},
		"load: torque 0 N.m":                                Load{Displacement: 1.8, Speed: 6000},
		"cooler: effectiveness 70 1; allowed: 0 to 1":       Cooler{Inlet: 120, Coolant: 25, Effectiveness: 70},
		"cooler: pressure 0 kPa":                            Cooler{Inlet: 120, Coolant: 25, Effectiveness: 0.7, Loss: 5},
		"choke: pressure_behind 120 kPa; allowed: 0 to 100": Choke{Diameter: 30, Coefficient: 1, Pressure: 100, Temperature: 20, Behind: 120},
		"mixture: no fuel":                                  Mixture{},
		"mixture: fuel \"C8X\"; allowed: petrol":            Mixture{Parts: []Part{{Fuel: "C8X", Share: 1}}},
		"mixture: fuel \"CO2\" needs no air":                Mixture{Parts: []Part{{Fuel: "CO2", Share: 1}}},
		"mixture: density_C7H8 0 kg/L":                      Mixture{Parts: []Part{{Fuel: "C7H8", Share: 5}, {Fuel: "petrol", Share: 95}}},
	} {
		if _, err := r.Reckon(); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%v, want %q", err, want)
		}
	}
}
