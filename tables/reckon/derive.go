package reckon

import (
	"fmt"
	"maps"
	"math"
	"slices"
	"strconv"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
)

// Derived is a number reckoned from given ones, with what it was reckoned by.
type Derived struct {
	Name, Unit string
	Value      float64
	Inputs     []string // names of the numbers it was reckoned from, given or derived
	Reckoning  *calibrationv1.Reckoning
}

// step is one reckoning of Derive: what it needs, what it may use, and what comes out of it.
type step struct {
	needs, uses []string
	reckon      func(n map[string]float64) (*calibrationv1.Reckoning, error)
	gives       []given
}

// given names a result of a reckoning as a number, and the number it asks for besides; "" for none.
type given struct{ name, result, unit, also string }

// steps in an order in which each comes after those that it may use.
var steps = []step{
	{needs: []string{"crank_pulley_mm", "blower_pulley_mm", "engine_speed_max"}, uses: []string{"blower_internal_ratio", "rotor_speed_limit"},
		reckon: func(n map[string]float64) (*calibrationv1.Reckoning, error) {
			return Blower{Crank: n["crank_pulley_mm"], Pulley: n["blower_pulley_mm"], EngineSpeed: n["engine_speed_max"],
				Gear: or(n, "blower_internal_ratio", 1), RotorLimit: or(n, "rotor_speed_limit", highestRotor)}.Reckon()
		},
		gives: []given{{"rotor_speed_max", "rotor_speed", "1/min", ""}, {"rotor_speed_margin", "margin", "1/min", "rotor_speed_limit"}}},
	{needs: []string{"boost_max_kpa", "ambient_kpa"}, reckon: func(n map[string]float64) (*calibrationv1.Reckoning, error) {
		if n["ambient_kpa"] == 0 {
			return nil, fmt.Errorf("ambient_kpa is 0; allowed: 20 to 120")
		}
		return Pressure{Gauge: n["boost_max_kpa"], Ambient: n["ambient_kpa"]}.Reckon()
	}, gives: boosted},
	{needs: []string{"boost_max_kpa", "altitude_m"}, reckon: func(n map[string]float64) (*calibrationv1.Reckoning, error) {
		return Pressure{Gauge: n["boost_max_kpa"], Altitude: n["altitude_m"]}.Reckon()
	}, gives: boosted},
	{needs: []string{"inlet_temperature_cel", "pressure_ratio_max", "compressor_efficiency"}, reckon: func(n map[string]float64) (*calibrationv1.Reckoning, error) {
		return Compressor{Inlet: n["inlet_temperature_cel"], PressureRatio: n["pressure_ratio_max"], Efficiency: n["compressor_efficiency"]}.Reckon()
	}, gives: []given{{"compressor_outlet_temperature", "outlet_temperature", "Cel", ""}}},
	{needs: []string{"displacement_l", "engine_speed_max", "volumetric_efficiency", "manifold_pressure_max", "manifold_temperature_cel"}, reckon: func(n map[string]float64) (*calibrationv1.Reckoning, error) {
		return AirFlow{Displacement: n["displacement_l"], Speed: n["engine_speed_max"], Efficiency: n["volumetric_efficiency"],
			Pressure: n["manifold_pressure_max"], Temperature: n["manifold_temperature_cel"]}.Reckon()
	}, gives: []given{{"air_flow_max", "air_flow", "kg/h", ""}}},
	{needs: []string{"air_flow_max", "lambda_min", "stoichiometric_ratio", "injectors", "injector_flow_cm3_min", "fuel_density_kg_l"}, uses: []string{"injector_duty_ceiling"}, reckon: func(n map[string]float64) (*calibrationv1.Reckoning, error) {
		count := n["injectors"]
		if !(count >= 1 && count <= 64 && count == math.Trunc(count)) {
			return nil, fmt.Errorf("injectors are %g; allowed: a whole number from 1 to 64", count)
		}
		return Injector{AirFlow: n["air_flow_max"], Lambda: n["lambda_min"], Stoichiometric: n["stoichiometric_ratio"], Injectors: int(count),
			Flow: n["injector_flow_cm3_min"], Density: n["fuel_density_kg_l"], Ceiling: or(n, "injector_duty_ceiling", 100)}.Reckon()
	}, gives: []given{{"injector_duty_max", "duty", "%", ""}, {"injector_duty_margin", "margin", "%", "injector_duty_ceiling"}}},
}

var boosted = []given{{"manifold_pressure_max", "absolute", "kPa", ""}, {"pressure_ratio_max", "pressure_ratio", "1", ""}}

// highestRotor stands in where no rotor limit is given: then no margin is told.
const highestRotor = 500000

func or(n map[string]float64, name string, none float64) float64 {
	if v, ok := n[name]; ok {
		return v
	}
	return none
}

// Derive reckons what the given numbers are enough for, in a fixed order. A given number that
// would be derived too is an error: the two could differ.
func Derive(numbers map[string]float64) ([]Derived, error) {
	all := maps.Clone(numbers)
	if all == nil {
		all = map[string]float64{}
	}
	var out []Derived
	for _, s := range steps {
		if !s.ready(all) {
			continue
		}
		r, err := s.reckon(all)
		if err != nil {
			return nil, fmt.Errorf("numbers: %w", err)
		}
		in := slices.Clone(s.needs)
		for _, name := range s.uses {
			if _, ok := all[name]; ok {
				in = append(in, name)
			}
		}
		for _, g := range s.gives {
			if _, ok := all[g.also]; g.also != "" && !ok {
				continue
			}
			if _, ok := all[g.name]; ok {
				return nil, fmt.Errorf("numbers: %s is reckoned from %v and must not be given or reckoned twice; allowed: leave one of them out", g.name, in)
			}
			v, err := resultOf(r, g)
			if err != nil {
				return nil, err
			}
			all[g.name] = v
			out = append(out, Derived{Name: g.name, Unit: g.unit, Value: v, Inputs: in, Reckoning: r})
		}
	}
	return out, nil
}

func (s *step) ready(n map[string]float64) bool {
	for _, name := range s.needs {
		if _, ok := n[name]; !ok {
			return false
		}
	}
	return true
}

func resultOf(r *calibrationv1.Reckoning, g given) (float64, error) {
	for _, q := range r.GetResults() {
		if q.GetName() == g.result && q.GetUnit() == g.unit {
			return q.GetValue(), nil
		}
	}
	return 0, fmt.Errorf("numbers: %s gives no %s in %s", r.GetKind(), g.result, g.unit)
}

// Facts are what a job says that limits may use: its fuel, its numbers, and what is derived of
// them. The server and every client build them here, so that a report comes out the same. Where
// the numbers cannot be read or reckoned, err says so, and there are no numbers in the facts: an expression that wants one is
// then a rule error, which is a danger.
func Facts(fuel string, numbers map[string]string) (facts *calibrationv1.JobFacts, err error) {
	facts = &calibrationv1.JobFacts{Fuel: fuel}
	if len(numbers) == 0 {
		return facts, nil
	}
	n, err := Parse(numbers)
	if err != nil {
		return facts, err
	}
	derived, err := Derive(n)
	if err != nil {
		return facts, err
	}
	for _, d := range derived {
		n[d.Name] = d.Value
	}
	facts.Numbers = n
	return facts, nil
}

// Parse reads numbers from decimal text; the first that is none, by name, is the error.
func Parse(numbers map[string]string) (map[string]float64, error) {
	out := make(map[string]float64, len(numbers))
	for _, name := range slices.Sorted(maps.Keys(numbers)) {
		v, err := strconv.ParseFloat(numbers[name], 64)
		if err != nil || math.IsNaN(v) || math.IsInf(v, 0) {
			return nil, fmt.Errorf("numbers: %s is %.40q; allowed: a finite decimal number", name, numbers[name])
		}
		out[name] = v
	}
	return out, nil
}

// Text is a number in the one way that the record writes it: shortest decimal, no exponent.
func Text(v float64) string { return strconv.FormatFloat(v+0, 'f', -1, 64) }
