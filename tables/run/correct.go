package run

import (
	"fmt"
	"math"
	"strings"
)

// standard is one way to correct, for spark ignition. Where humidity is false, the pressure is the
// total one. Kelvin is t + 273 in all three, as their round reference temperatures have it; with
// 273.15 a factor moves by some 1e-6.
type standard struct {
	title, formula string
	humidity       bool
	factor         func(p, t float64) float64 // kPa, Cel
	ranges         [3][2]float64              // factor, Cel, kPa
}

// Where the figures come from. ISO 1585 is the exponents of a textbook (M. L. Mathur and R. P.
// Sharma, Internal Combustion Engine, example 27.5) with the reference 99 kPa dry and 298 K;
// J1349 scales indicated power and takes friction off, with a mechanical efficiency of exactly
// 0.85, which is 2004's edition (the one of 1990 rounds to 1.18 and 0.18). DIN 70020's formula,
// and every range, is from memory: the standards themselves were not at hand.
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
	DIN70020: {
		title: "DIN 70020", formula: "(101.3/p) * sqrt((t+273)/293), p the total pressure in kPa, t in Cel",
		factor: func(p, t float64) float64 { return 101.3 / p * math.Sqrt((t+273)/293) },
		ranges: [3][2]float64{{0.93, 1.07}, {0, 40}, {90, 110}},
	},
}

// ParseStandard reads the name of a correction.
func ParseStandard(s string) (Standard, error) {
	std := Standard(strings.ToLower(s))
	if _, ok := standards[std]; ok || std == None {
		return std, nil
	}
	return "", fmt.Errorf("correction %q; allowed: none, iso1585, j1349, din70020", s)
}

// Correct is the factor of a standard for a weather. Outside the standard's range it is refused
// unless anyway is set, and then marked.
func Correct(std Standard, w Weather, anyway bool) (Correction, error) {
	if std == None || std == "" {
		return Correction{Standard: None, Title: "none", Factor: 1}, nil
	}
	s, ok := standards[std]
	if !ok {
		_, err := ParseStandard(string(std))
		return Correction{}, err
	}
	if err := w.check(); err != nil {
		return Correction{}, fmt.Errorf("%s: %w", s.title, err)
	}
	c := Correction{Standard: std, Title: s.title, Formula: s.formula, Weather: &w, Dry: w.Pressure, Low: s.ranges[0][0], High: s.ranges[0][1]}
	if s.humidity {
		if w.Humidity == nil {
			return Correction{}, fmt.Errorf("%s: the relative humidity is missing; it needs the pressure of the dry air", s.title)
		}
		c.Vapour = float64(*w.Humidity * Vapour(w.Temperature))
		c.Dry = w.Pressure - c.Vapour
		c.Notes = append(c.Notes, "water vapour by Hyland and Wexler (1983), as the ASHRAE Handbook prints it")
	}
	if c.Dry <= 0 {
		return Correction{}, fmt.Errorf("%s: no dry air is left: %.6g kPa less %.6g kPa of vapour", s.title, w.Pressure, c.Vapour)
	}
	c.Factor = s.factor(c.Dry, w.Temperature)
	for i, v := range []float64{c.Factor, w.Temperature, c.Dry} {
		if r := s.ranges[i]; !(v >= r[0] && v <= r[1]) {
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
	switch {
	case !(w.Pressure >= 50 && w.Pressure <= 120):
		return fmt.Errorf("an ambient pressure of %g kPa; allowed: 50 to 120, absolute", w.Pressure)
	case !(w.Temperature >= -50 && w.Temperature <= 70):
		return fmt.Errorf("an air temperature of %g Cel; allowed: -50 to 70", w.Temperature)
	case w.Humidity != nil && !(*w.Humidity >= 0 && *w.Humidity <= 1):
		return fmt.Errorf("a relative humidity of %g; allowed: 0 to 1", *w.Humidity)
	}
	return nil
}

// Weather is what the run recorded of the air, each the mean over its length: pressure, and
// temperature by the channel ambient_temperature, else by intake_temperature, which is right only
// if that is measured before the compressor. The error names a channel that lacks.
func (r *Run) Weather() (Weather, error) {
	pressure, err := r.need("barometric_pressure", "a correction")
	if err != nil {
		return Weather{}, err
	}
	warmth, ok := r.Values("ambient_temperature")
	if !ok {
		if warmth, err = r.need("intake_temperature", "a correction (or ambient_temperature)"); err != nil {
			return Weather{}, err
		}
	}
	w := Weather{Pressure: mean(pressure), Temperature: mean(warmth)}
	if humidity, ok := r.Values("relative_humidity"); ok {
		h := mean(humidity) / 100
		w.Humidity = &h
	}
	return w, nil
}

// correct is the correction that the options ask for, and what is to be said about it.
func (r *Run) correct(o Options) (Correction, error) {
	if o.Correction == None || o.Correction == "" {
		return Correct(None, Weather{}, false)
	}
	w := Weather{}
	var notes []string
	if o.Weather != nil {
		w = *o.Weather
		notes = append(notes, "the weather was given, not recorded")
	} else {
		var err error
		if w, err = r.Weather(); err != nil {
			return Correction{}, err
		}
		if _, ok := r.Values("ambient_temperature"); !ok {
			notes = append(notes, "air temperature from intake_temperature: right only if it is measured before the compressor and the charge cooler")
		}
	}
	c, err := Correct(o.Correction, w, o.Anyway)
	if err != nil {
		return c, fmt.Errorf("%s: %w", r.Name, err)
	}
	c.Notes = append(c.Notes, notes...)
	if o.Forced {
		c.Notes = append(c.Notes, ForcedNote)
	}
	return c, nil
}

// ForcedNote is said wherever an engine with forced induction is corrected.
const ForcedNote = "forced induction: an engine whose own control makes up for the weather is corrected twice by any factor; compare uncorrected runs of like weather"

func mean(values []float32) float64 {
	sum := 0.0
	for _, v := range values {
		sum += float64(v)
	}
	return sum / float64(len(values))
}
