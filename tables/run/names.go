package run

import (
	"strings"

	"witnessmark/tables/units"
)

// everyday are names that need no channel file, in lower case without blanks and marks, beside the
// quantities' own. Of two quantities the unit decides; where it cannot, the first that is free.
var everyday = map[string][]string{
	"t": {"time"}, "elapsedtime": {"time"}, "timestamp": {"time"}, "clock": {"time"},
	"rpm": {"engine_speed"}, "enginerpm": {"engine_speed"}, "revs": {"engine_speed"},
	"speed": {"road_speed", "engine_speed"}, "vehiclespeed": {"road_speed"}, "carspeed": {"road_speed"}, "wheelspeed": {"wheel_speed", "road_speed"}, "rollspeed": {"roller_speed"},
	"enginetorque": {"torque"}, "cranktorque": {"torque"}, "enginepower": {"power"}, "crankpower": {"power"}, "tractiveeffort": {"tractive_force"},
	"baro": {"barometric_pressure"}, "barometer": {"barometric_pressure"}, "ambientpressure": {"barometric_pressure"}, "atmosphericpressure": {"barometric_pressure"},
	"iat": {"intake_temperature"}, "intaketemp": {"intake_temperature"}, "intakeairtemp": {"intake_temperature"}, "intakeairtemperature": {"intake_temperature"},
	"airtemp": {"intake_temperature", "ambient_temperature"}, "airtemperature": {"intake_temperature", "ambient_temperature"},
	"ambienttemp": {"ambient_temperature"}, "ambientairtemp": {"ambient_temperature"}, "ambientairtemperature": {"ambient_temperature"}, "outsidetemp": {"ambient_temperature"},
	"humidity": {"relative_humidity"}, "rh": {"relative_humidity"},
	"boost": {"manifold_pressure"}, "boostpressure": {"manifold_pressure"}, "map": {"manifold_pressure"}, "manifoldabsolutepressure": {"manifold_pressure"},
	"afr": {"air_fuel_ratio"}, "airfuelratio": {"air_fuel_ratio"},
	"ignition": {"ignition_advance"}, "ignitiontiming": {"ignition_advance"}, "ignitionangle": {"ignition_advance"}, "spark": {"ignition_advance"},
	"sparkadvance": {"ignition_advance"}, "sparktiming": {"ignition_advance"}, "timing": {"ignition_advance"}, "timingadvance": {"ignition_advance"}, "advance": {"ignition_advance"},
	"knock": {"knock_retard"}, "throttleposition": {"throttle"}, "tps": {"throttle"},
	"coolant": {"coolant_temperature"}, "coolanttemp": {"coolant_temperature"}, "watertemp": {"coolant_temperature"}, "oiltemp": {"oil_temperature"},
	"egt": {"exhaust_temperature"}, "exhausttemp": {"exhaust_temperature"},
}

func init() {
	for q := range units.Own {
		if n := plain.Replace(q); everyday[n] == nil {
			everyday[n] = []string{q}
		}
	}
}

// plain leaves of a name what its spellings agree on.
var plain = strings.NewReplacer(" ", "", "_", "", "-", "", ".", "", "/", "", "\u00a0", "")

// called is what a header says of its column.
type called struct {
	quantities []string // that it can be; none where it is not known
	unit       string   // as written; empty where there is none
	gauge      bool     // the name alone says against ambient
	rotating   bool     // the name is the unit
}

// read takes a header apart: a name, and its unit in brackets, in parentheses, or last.
func call(header string) called {
	name, unit := unitApart(header)
	if q := quantities(name); len(q) > 0 {
		n := plain.Replace(strings.ToLower(name))
		return called{q, unit, strings.HasPrefix(n, "boost"), strings.HasSuffix(n, "rpm")}
	}
	if unit != "" {
		if units.IsQuantity(name) {
			return called{quantities: []string{name}, unit: unit}
		}
		return called{}
	}
	if i := strings.LastIndexAny(header, " _/,"); i > 0 {
		if _, known := unitOf(header[i+1:]); known && strings.TrimSpace(header[i+1:]) != "" && len(quantities(header[:i])) > 0 {
			c := call(header[:i])
			c.unit = header[i+1:]
			return c
		}
	}
	return called{}
}

func quantities(name string) []string { return everyday[plain.Replace(strings.ToLower(name))] }

// unitApart cuts `name [unit]` or `name (unit)`; the unit may hold brackets of its own.
func unitApart(header string) (name, unit string) {
	header = strings.TrimSpace(header)
	for _, b := range []string{"[]", "()"} {
		i := strings.IndexByte(header, b[0])
		if i > 0 && header[len(header)-1] == b[1] {
			return strings.TrimSpace(header[:i]), strings.TrimSpace(header[i+1 : len(header)-1])
		}
	}
	return header, ""
}

// choose is which of its quantities a column is, given those that other columns are already; taken
// says that another has it.
func (c called) choose(seen map[string]string) (quantity string, taken bool) {
	code, _ := unitOf(c.unit)
	for _, q := range c.quantities {
		if c.unit != "" {
			if _, err := units.BetweenDifferences(code, units.Own[q]); err != nil && len(c.quantities) > 1 {
				continue
			}
		} else if units.Own[q] != units.Own[c.quantities[0]] {
			continue
		}
		if quantity == "" {
			quantity = q
		}
		if seen[q] == "" {
			return q, false
		}
	}
	if quantity == "" {
		return c.quantities[0], seen[c.quantities[0]] != ""
	}
	return quantity, true
}

// obvious are quantities whose unit nobody writes; of others a missing unit is remarked.
var obvious = map[string]bool{"time": true, "lambda": true, "air_fuel_ratio": true, "ignition_advance": true, "knock_retard": true, "relative_humidity": true, "throttle": true}
