package units

// Own are the units that the quantities of a run are kept in; others stay in the unit that they were recorded in.
var Own = map[string]string{
	"time": "s", "engine_speed": "1/min", "wheel_speed": "1/min", "roller_speed": "km/h", "road_speed": "km/h", "roller_circumference": "m",
	"torque": "N.m", "wheel_torque": "N.m", "power": "kW", "wheel_power": "kW", "tractive_force": "N",
	"manifold_pressure": "kPa", "barometric_pressure": "kPa", "fuel_pressure": "kPa", "oil_pressure": "kPa",
	"intake_temperature": "Cel", "ambient_temperature": "Cel", "coolant_temperature": "Cel",
	"oil_temperature": "Cel", "exhaust_temperature": "Cel", "relative_humidity": "%",
	"lambda": "1", "air_fuel_ratio": "1", "ignition_advance": "deg", "knock_retard": "deg", "throttle": "%",
}

// IsQuantity reports whether s can be the name of a quantity.
func IsQuantity(s string) bool {
	for i := range len(s) {
		ch := s[i]
		if (ch < 'a' || ch > 'z') && (i == 0 || ch != '_' && ch != '.' && (ch < '0' || ch > '9')) {
			return false
		}
	}
	return s != "" && len(s) <= 64
}
