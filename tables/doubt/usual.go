package doubt

import (
	"fmt"
	"strings"

	"witnessmark/tables/units"
)

// span is the range that a quantity's values usually keep to, in a unit.
type span struct {
	unit      string
	low, high float64
}

func (s span) String() string {
	return strings.TrimSuffix(fmt.Sprintf("usually %.6g to %.6g %s", s.low, s.high, s.unit), " 1")
}

// usual ranges of petrol and Diesel engines' quantities, wide enough for a racing one: common practice, no
// source. What lies outside is as a rule a wrong address, type or factor.
var usual = map[string]span{
	"ambient_pressure":    {"kPa", 40, 115},
	"battery_voltage":     {"V", 0, 20},
	"cam_advance":         {"deg", -80, 80},
	"coolant_temperature": {"Cel", -60, 170},
	"cylinder_filling":    {"%", 0, 400},
	"dwell_time":          {"ms", 0, 20},
	"engine_speed":        {"1/min", 0, 15000},
	"engine_torque":       {"N.m", -300, 2000},
	"exhaust_temperature": {"Cel", -60, 1250},
	"fuel_pressure":       {"kPa", 0, 300000},
	"fuel_temperature":    {"Cel", -60, 170},
	"gear":                {"1", -2, 20},
	"ignition_advance":    {"deg", -60, 80},
	"injection_time":      {"ms", 0, 100},
	"injector_deadtime":   {"ms", -1, 20},
	"intake_temperature":  {"Cel", -60, 250},
	"lambda":              {"1", 0.4, 3},
	"manifold_pressure":   {"kPa", 0, 600},
	"oil_temperature":     {"Cel", -60, 220},
	"pedal_position":      {"%", -10, 110},
	"throttle_position":   {"%", -10, 110},
	"road_speed":          {"km/h", 0, 500},
	"wastegate_duty":      {"%", -5, 105},
}

// usualOf is the usual range of a quantity in a unit; false where there is none, or the unit is no such.
func usualOf(quantity, unit string) (span, bool) {
	u, ok := usual[quantity]
	if !ok {
		return span{}, false
	}
	c, err := units.BetweenQuantities(quantity, u.unit, quantity, unit)
	if err != nil || units.IsGauge(quantity, unit) {
		return span{}, false
	}
	low, high := c.Level(u.low), c.Level(u.high)
	return span{unit, min(low, high), max(low, high)}, true
}
