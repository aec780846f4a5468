package run

import (
	"fmt"
	"math"
	"strconv"
	"strings"
)

// compressionIgnition begins the name of ISO 1585 for compression ignition; what follows is the engine.
const compressionIgnition = "iso1585-ci"

// compression is ISO 1585 for an engine with compression ignition, written as :FUEL:CHARGE, fuel in mg
// for a litre of displacement and a cycle, and the absolute pressure of the charge over that of the
// air, 1 without a charger. Formula, bounds and ranges as a textbook (M. L. Mathur and R. P. Sharma,
// Internal Combustion Engine, example 27.6) and makers' workshop manuals print them; some of these
// go down to 37.2 mg where this one stops at 40.
func compression(engine string) (standard, error) {
	fields := strings.Split(engine, ":")
	wrong := fmt.Errorf("correction %s%.40s; allowed: %s:FUEL:CHARGE, as in %s:60:1.9, the fuel in mg for a litre of displacement and a cycle (1 to 300), and the charge's absolute pressure over the air's (1 to 6)",
		compressionIgnition, engine, compressionIgnition, compressionIgnition)
	if len(fields) != 3 || fields[0] != "" {
		return standard{}, wrong
	}
	fuel, err1 := strconv.ParseFloat(fields[1], 64)
	charge, err2 := strconv.ParseFloat(fields[2], 64)
	if err1 != nil || err2 != nil || !(fuel >= 1 && fuel <= 300) || !(charge >= 1 && charge <= 6) {
		return standard{}, wrong
	}
	pressure, temperature, air := 1.0, 0.7, "no charger"
	if charge > 1 {
		pressure, temperature, air = 0.7, 1.5, "a turbocharger"
	}
	exponent := engineFactor(fuel / charge)
	return standard{
		title: "ISO 1585, compression ignition", humidity: true,
		formula: fmt.Sprintf("((99/pd)^%g * ((t+273)/298)^%g)^%.4g, pd the dry pressure in kPa, t in Cel; the last exponent of %g mg of fuel for a litre and a cycle over a charge ratio of %g",
			pressure, temperature, exponent, fuel, charge),
		factor: func(p, t float64) float64 {
			return math.Pow(math.Pow(99/p, pressure)*math.Pow((t+273)/298, temperature), exponent)
		},
		ranges: [3][2]float64{{0.9, 1.1}, {10, 40}, {80, 110}},
		note:   fmt.Sprintf("a charge ratio of %g was taken for %s", charge, air),
	}, nil
}

// engineFactor is the exponent of the atmosphere's factor, of fuel in mg for a litre and a cycle over the
// charge ratio.
func engineFactor(fuel float64) float64 {
	return min(max(float64(0.036*fuel)-1.14, 0.3), 1.2)
}
