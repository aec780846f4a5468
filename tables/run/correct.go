package run

import (
	"fmt"
	"math"
	"strings"
)

// standard is one way to correct. Where humidity is false, the pressure is the total one. Kelvin is
// t + 273 in all, as their round reference temperatures have it; with 273.15 a factor moves by
// some 1e-6. A range from 0 to 0 is none.
type standard struct {
	title, formula string
	humidity       bool
	factor         func(p, t float64) float64 // kPa, Cel
	ranges         [3][2]float64              // factor, Cel, kPa
	note           string
}

// J1349of1990 is the edition of J1349 before that of 2004, which J1349 is.
const J1349of1990 Standard = "j1349-1990"

// Where the figures come from. ISO 1585 is the exponents of a textbook (M. L. Mathur and R. P.
// Sharma, Internal Combustion Engine, example 27.5) with the reference 99 kPa dry and 298 K;
// J1349 scales indicated power and takes friction off, with a mechanical efficiency of exactly
// 0.85 since 2004, and with the rounded 1.18 and 0.18 in 1990. DIN 70020's formula, and every
// range, is from memory: the standards themselves were not at hand.
var standards = map[Standard]standard{
	ISO1585: {
		title: "ISO 1585, spark ignition", formula: "(99/pd)^1.2 * ((t+273)/298)^0.6, pd the dry pressure in kPa, t in Cel", humidity: true,
		factor: func(p, t float64) float64 { return math.Pow(99/p, 1.2) * math.Pow((t+273)/298, 0.6) },
		ranges: [3][2]float64{{0.93, 1.07}, {15, 35}, {90, 110}},
	},
	J1349: {
		title: "SAE J1349, edition of 2004, mechanical efficiency exactly 0.85", formula: "k/0.85 - (1/0.85 - 1), k = (99/pd) * sqrt((t+273)/298), pd the dry pressure in kPa, t in Cel", humidity: true,
		factor: func(p, t float64) float64 { return 99/p*math.Sqrt((t+273)/298)/0.85 - (1/0.85 - 1) },
		ranges: [3][2]float64{{0.93, 1.07}, {15, 35}, {90, 105}},
	},
	J1349of1990: {
		title: "SAE J1349, edition of 1990", formula: "1.18 * (99/pd) * sqrt((t+273)/298) - 0.18, pd the dry pressure in kPa, t in Cel", humidity: true,
		factor: func(p, t float64) float64 { return float64(1.18*(99/p)*math.Sqrt((t+273)/298)) - 0.18 },
		ranges: [3][2]float64{{0.93, 1.07}, {15, 35}, {90, 105}},
	},
	DIN70020: {
		title: "DIN 70020", formula: "(101.3/p) * sqrt((t+273)/293), p the total pressure in kPa, t in Cel",
		factor: func(p, t float64) float64 { return 101.3 / p * math.Sqrt((t+273)/293) },
		ranges: [3][2]float64{{0.93, 1.07}, {}, {}},
		note:   "no range of validity of DIN 70020 was found: its factor is held to the one of the other standards",
	},
}

// Corrections are the names that ParseStandard reads.
const Corrections = "none, iso1585, j1349, din70020, j1349-1990 or iso1585-ci:FUEL:CHARGE"

// ParseStandard reads the name of a correction.
func ParseStandard(s string) (Standard, error) {
	std := Standard(strings.ToLower(s))
	if std == None {
		return std, nil
	}
	if _, err := find(std); err != nil {
		return "", err
	}
	return std, nil
}

func find(std Standard) (standard, error) {
	if s, ok := standards[std]; ok {
		return s, nil
	}
	if engine, ok := strings.CutPrefix(string(std), compressionIgnition); ok {
		return compression(engine)
	}
	return standard{}, fmt.Errorf("correction %.40q; allowed: %s", std, Corrections)
}

// Correct is the factor of a standard for a weather. Outside the standard's range it is refused
// unless anyway is set, and then marked.
func Correct(std Standard, w Weather, anyway bool) (Correction, error) {
	if std == None || std == "" {
		return Correction{Standard: None, Title: "none", Factor: 1}, nil
	}
	s, err := find(std)
	if err != nil {
		return Correction{}, err
	}
	if err := w.check(); err != nil {
		return Correction{}, fmt.Errorf("%s: %w", s.title, err)
	}
	c := Correction{Standard: std, Title: s.title, Formula: s.formula, Weather: &w, Dry: w.Pressure, Low: s.ranges[0][0], High: s.ranges[0][1]}
	if s.note != "" {
		c.Notes = append(c.Notes, s.note)
	}
	if s.humidity {
		if w.Humidity == nil {
			return Correction{}, fmt.Errorf("%s: the relative humidity is missing; it needs the pressure of the dry air", s.title)
		}
		c.Vapour = float64(*w.Humidity * Vapour(w.Temperature))
		c.Dry = w.Pressure - c.Vapour
		c.Notes = append(c.Notes, "water vapour by Hyland and Wexler (1983), as the ASHRAE Handbook prints it")
	}
	c.Factor = s.factor(c.Dry, w.Temperature)
	for i, v := range []float64{c.Factor, w.Temperature, c.Dry} {
		if r := s.ranges[i]; r[1] > 0 && !(v >= r[0] && v <= r[1]) {
			c.OutOfRange = true
			c.Why = fmt.Sprintf(outside[i], v, r[0], r[1])
			break
		}
	}
	if c.OutOfRange && !anyway {
		return Correction{}, fmt.Errorf("%s: %s; refused unless asked for outside its range", s.title, c.Why)
	}
	return c, nil
}

var outside = [3]string{
	"the factor %.4f is outside %g to %g", "the air temperature %.1f Cel is outside %g to %g", "the air pressure %.2f kPa is outside %g to %g",
}

func (w Weather) check() error {
	for _, c := range []struct {
		what, allowed string
		value         float64
		in            bound
	}{
		{"an ambient pressure of %g kPa", "%g to %g, absolute", w.Pressure, weatherBounds.pressure},
		{"an air temperature of %g Cel", "%g to %g", w.Temperature, weatherBounds.temperature},
	} {
		if !c.in.holds(c.value) {
			return fmt.Errorf(c.what+"; allowed: "+c.allowed, c.value, c.in.low, c.in.high)
		}
	}
	if h := w.Humidity; h != nil && !(*h >= 0 && *h <= 1) {
		return fmt.Errorf("a relative humidity of %g; allowed: 0 to 1", *h)
	}
	return nil
}

// doubtfulShare is what a standard is good for: that part of what it changes is uncertain, since no
// engine follows the weather just so. Common practice, no source.
const doubtfulShare = 0.1

// stepsOf is how far a factor may be off because the weather was recorded in steps: half a step of
// pressure in kPa, temperature in Cel and humidity, all at their worst.
func stepsOf(std Standard, w Weather, half [3]float64) float64 {
	off := func(change func(w *Weather, by float64), by float64) float64 {
		low, high := w, w
		if w.Humidity != nil {
			a, b := *w.Humidity, *w.Humidity
			low.Humidity, high.Humidity = &a, &b
		}
		change(&low, -by)
		change(&high, by)
		a, errA := Correct(std, low, true)
		b, errB := Correct(std, high, true)
		if errA != nil || errB != nil {
			return 0 // at the end of what is plausible: there is no more to be off
		}
		return math.Abs(b.Factor-a.Factor) / 2
	}
	sum := off(func(w *Weather, by float64) { w.Pressure += by }, half[0]) + off(func(w *Weather, by float64) { w.Temperature += by }, half[1])
	if w.Humidity != nil {
		sum += off(func(w *Weather, by float64) { *w.Humidity = min(max(*w.Humidity+by, 0), 1) }, half[2])
	}
	return sum
}
