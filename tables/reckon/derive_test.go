package reckon

import (
	"math"
	"strings"
	"testing"
)

// By hand: 180/75 = 2.4, times 6500 is 15600; 14000 less that is -1600. The other steps are
// checked with their own published examples where those are; here by hand: 101.325 kPa and
// 101.325 kPa of boost are a ratio of 2; 293.15 K * (2^(2/7) - 1) / 0.7 = 91.70 K over 20 Cel.
func TestDeriveByHand(t *testing.T) {
	d, err := Derive(map[string]float64{"crank_pulley_mm": 180, "blower_pulley_mm": 75, "engine_speed_max": 6500, "rotor_speed_limit": 14000,
		"boost_max_kpa": 101.325, "ambient_kpa": 101.325, "inlet_temperature_cel": 20, "compressor_efficiency": 0.7,
		// 0.9 * 1.8 L * 6500/120 of air of 202650/(287.05*313.15) kg/m3, in kg/h; by lambda 0.8 of 14.7 and 4 of 1000 cm3/min at 0.745 kg/L
		"displacement_l": 1.8, "volumetric_efficiency": 0.9, "manifold_temperature_cel": 40, "lambda_min": 0.8, "stoichiometric_ratio": 14.7,
		"injectors": 4, "injector_flow_cm3_min": 1000, "fuel_density_kg_l": 0.745})
	if err != nil {
		t.Fatal(err)
	}
	flow := 0.9 * 0.0018 * 6500 / 120 * 202650 / (287.05 * 313.15) * 3600
	want := map[string]float64{"rotor_speed_max": 15600, "rotor_speed_margin": -1600, "manifold_pressure_max": 202.65, "pressure_ratio_max": 2,
		"compressor_outlet_temperature": 20 + 293.15*(math.Exp2(2.0/7)-1)/0.7, "air_flow_max": flow,
		"injector_duty_max": flow / (0.8 * 14.7) * 1000 / 60 / 0.745 / 4 / 1000 * 100}
	for _, n := range d {
		if w, ok := want[n.Name]; !ok || math.Abs(n.Value-w) > 1e-9*math.Abs(w) || n.Reckoning.Formula == "" || n.Reckoning.Source == "" {
			t.Errorf("%s is %v %s, want %v (%v)", n.Name, n.Value, n.Unit, w, ok)
		}
		delete(want, n.Name)
	}
	if len(want) != 0 {
		t.Errorf("not derived: %v", want)
	}
}

func TestDeriveRefuses(t *testing.T) {
	belt := func(more map[string]float64) map[string]float64 {
		n := map[string]float64{"crank_pulley_mm": 180, "blower_pulley_mm": 75, "engine_speed_max": 6500}
		for k, v := range more {
			n[k] = v
		}
		return n
	}
	for want, n := range map[string]map[string]float64{
		"rotor_speed_max is reckoned": belt(map[string]float64{"rotor_speed_max": 9000}),
		"blower_pulley 0 mm":          belt(map[string]float64{"blower_pulley_mm": 0}),
		"internal_ratio":              belt(map[string]float64{"blower_internal_ratio": 99}),
		"ambient_kpa is 0":            {"boost_max_kpa": 50, "ambient_kpa": 0},
		"reckoned twice":              {"boost_max_kpa": 50, "ambient_kpa": 100, "altitude_m": 100},
	} {
		if _, err := Derive(n); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%v: %v, want %q", n, err, want)
		}
	}
	d, err := Derive(belt(nil))
	if err != nil || len(d) != 1 || d[0].Name != "rotor_speed_max" || d[0].Value != 15600 {
		t.Errorf("without a rotor limit there is a speed and no margin: %v %v", d, err)
	}
}

func TestFacts(t *testing.T) {
	f, err := Facts("98 RON", map[string]string{"crank_pulley_mm": "180", "blower_pulley_mm": "75", "engine_speed_max": "6500"})
	if err != nil || len(f.Numbers) != 4 || f.Numbers["rotor_speed_max"] != 15600 || f.Numbers["crank_pulley_mm"] != 180 {
		t.Errorf("%v %v", f, err)
	}
	for _, text := range []string{"", "x", "NaN", "Inf", "1e999"} {
		if f, err := Facts("", map[string]string{"a": text}); err == nil || f.Numbers != nil {
			t.Errorf("%q: %v", text, f)
		}
	}
	if f, err := Facts("E85", nil); err != nil || f.Numbers != nil || f.Fuel != "E85" {
		t.Errorf("%v %v", f, err)
	}
	for v, want := range map[float64]string{6500: "6500", 0.7: "0.7", 1e6: "1000000", math.Copysign(0, -1): "0"} {
		if got := Text(v); got != want {
			t.Errorf("%v is written %s, want %s", v, got, want)
		}
	}
}
