package run

import (
	"fmt"
	"math"
	"slices"
)

// bound is what a value may be.
type bound struct{ low, high float64 }

func (b bound) holds(v float64) bool { return v >= b.low && v <= b.high }

// weatherBounds is the air that a rolling road may stand in, of a mountain and of a hot cell too. Common
// practice, no source.
var weatherBounds = struct{ pressure, temperature bound }{bound{60, 110}, bound{-35, 60}}

// finest is half of the smallest step that is believed of a sensor of pressure (kPa), temperature (Cel)
// and humidity, whatever its digits. Common practice, no source.
var finest = [3]float64{0.05, 0.25, 0.01}

// mostSwing is how far the pressure of the ambient air may move within a sweep, kPa.
const mostSwing = 2

// air is the weather of one sweep, and half the steps in which it was recorded.
type air struct {
	Weather
	half   [3]float64 // kPa, Cel, 0 to 1
	intake bool       // the temperature is the channel intake_temperature's
}

// air is the weather of a sweep: of each channel the median inside it, since what a file holds before
// and after is no part of it. Temperature is the channel ambient_temperature, else intake_temperature,
// which is right only if that is measured before the compressor. The error names a channel that lacks,
// or says why its values are no weather.
func (r *Run) air(s Sweep) (*air, error) {
	const what = "the weather"
	if _, err := r.need("barometric_pressure", what); err != nil {
		return nil, err
	}
	warmth := "ambient_temperature"
	if _, ok := r.Values(warmth); !ok {
		warmth = "intake_temperature"
		if _, err := r.need(warmth, what+" (or ambient_temperature)"); err != nil {
			return nil, err
		}
	}
	a := &air{intake: warmth == "intake_temperature"}
	var err error
	if a.Pressure, a.half[0], err = r.steady(s, "barometric_pressure", weatherBounds.pressure, mostSwing); err != nil {
		return nil, err
	}
	if a.Temperature, a.half[1], err = r.steady(s, warmth, weatherBounds.temperature, math.Inf(1)); err != nil {
		return nil, err
	}
	if _, ok := r.Values("relative_humidity"); ok {
		h, half, err := r.steady(s, "relative_humidity", bound{2, 100}, math.Inf(1))
		if err != nil {
			return nil, err
		}
		h, a.half[2] = h/100, half/100
		a.Humidity = &h
	}
	for i, least := range finest {
		a.half[i] = max(a.half[i], least)
	}
	return a, nil
}

// steady is a channel's median inside a sweep and half its step; an error where that is no weather.
func (r *Run) steady(s Sweep, quantity string, in bound, swing float64) (mid, half float64, err error) {
	v, _ := r.Values(quantity)
	inside := make([]float64, 0, s.To-s.From)
	for _, x := range v[s.From:s.To] {
		if !math.IsNaN(float64(x)) {
			inside = append(inside, float64(x))
		}
	}
	wrong := func(format string, args ...any) error {
		return fmt.Errorf("%s: %s: %s", r.Name, quantity, fmt.Sprintf(format, args...))
	}
	if len(inside) == 0 {
		return 0, 0, wrong("no value from %.1f s to %.1f s, where the sweep is", s.Begin, s.Until)
	}
	mid = median(inside) // which orders them
	low, high := inside[len(inside)/20], inside[len(inside)-1-len(inside)/20]
	unit := r.Unit(quantity)
	switch {
	case inside[0] == 0 && inside[len(inside)-1] == 0:
		return 0, 0, wrong("0 %s throughout the sweep: an input that nothing is connected to reads so", unit)
	case !in.holds(mid):
		return 0, 0, wrong("%.4g %s in the sweep; allowed: %g to %g", mid, unit, in.low, in.high)
	case high-low > swing:
		return 0, 0, wrong("it moves from %.4g to %.4g %s within the sweep; allowed: %g %s, as the ambient air does", low, high, unit, swing, unit)
	}
	return mid, step(v) / 2, nil
}

// step is the least by which neighbouring values differ, where they do; 0 where all are one.
func step(v []float32) float64 {
	least := math.Inf(1)
	for i := 1; i < len(v); i++ {
		// float32 keeps seven digits: what differs by less does not differ.
		if d := math.Abs(float64(v[i]) - float64(v[i-1])); d > 1e-5 && d < least {
			least = d
		}
	}
	if math.IsInf(least, 1) {
		return 0
	}
	return least
}

// boostShare is how far the manifold's pressure must be above the ambient one before it is boost and
// no ram. Common practice, no source.
const boostShare = 0.05

// boosted reports whether the log's own manifold pressure is that of an engine with forced induction.
func (r *Run) boosted(s Sweep) bool {
	v, ok := r.Values("manifold_pressure")
	if !ok || s.From >= s.To {
		return false
	}
	inside := slices.Clone(v[s.From:s.To])
	slices.Sort(inside)
	high, ambient := float64(inside[len(inside)-1-len(inside)/20]), 101.325
	if _, known := r.Values("barometric_pressure"); known {
		if p, _, err := r.steady(s, "barometric_pressure", weatherBounds.pressure, mostSwing); err == nil {
			ambient = p
		}
	}
	if r.Unit("manifold_pressure") == "kPa{gauge}" {
		high += ambient
	}
	return high > ambient+float64(boostShare*ambient)
}

// Correction is the correction that the options ask for on a sweep, what it is uncertain by (the steps in
// which the weather was recorded, and what the standard is good for), and what is to be said about it.
func (r *Run) Correction(s Sweep, o Options) (Correction, error) {
	if o.Correction == None || o.Correction == "" {
		return Correct(None, Weather{}, false)
	}
	a := &air{half: finest}
	var notes []string
	if o.Weather != nil {
		a.Weather = *o.Weather
		notes = append(notes, "the weather was given, not recorded")
	} else {
		var err error
		if a, err = r.air(s); err != nil {
			return Correction{}, err
		}
		if a.intake {
			notes = append(notes, "air temperature from intake_temperature: right only if it is measured before the compressor and the charge cooler")
		}
	}
	c, err := Correct(o.Correction, a.Weather, o.Anyway)
	if err != nil {
		return c, fmt.Errorf("%s: %w", r.Name, err)
	}
	c.Notes = append(c.Notes, notes...)
	if o.Forced || r.boosted(s) {
		c.Notes = append(c.Notes, ForcedNote)
	}
	share := doubtfulShare
	if c.OutOfRange {
		share = 1
	}
	c.PlusMinus = stepsOf(o.Correction, a.Weather, a.half) + float64(math.Abs(c.Factor-1)*share)
	return c, nil
}

// ForcedNote is said wherever an engine with forced induction is corrected or compared.
const ForcedNote = "forced induction: an engine whose own control makes up for the weather is corrected twice by any factor; compare uncorrected runs of like weather"
