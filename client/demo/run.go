package demo

import (
	"bytes"
	"fmt"
	"math"
)

// pull is a full-load run on the rolling road, from 1500 to 6800 1/min in 14 s, fifty samples a second. The
// charge pressure is the boost target at a full pedal and more of it; advance and lambda are what the formulas give there.
func pull(more func(rpm float64) float64) []byte {
	var b bytes.Buffer
	b.WriteString("time [s],engine_speed [1/min],torque [N.m],cylinder_filling [%],manifold_pressure [kPa],ignition_advance [deg],lambda [1]," +
		"intake_temperature [Cel],coolant_temperature [Cel],barometric_pressure [kPa],ambient_temperature [Cel],relative_humidity [%]\n")
	x := uint32(0x52554E31)
	for i := range 14*50 + 1 {
		t := float64(i) / 50
		rpm := 1500 + 5300*ramp(t, 1, 13)
		boost := formulas["boost.target"](rpm, 100) + more(rpm)
		fill := 0.91 * boost * (1 - 0.1*ramp(rpm, 5000, 7000))
		x = x*1664525 + 1013904223
		noise := float64(x>>24)/256 - 0.5 // what such a brake's reading wanders by
		torque := 1.42*fill*(1-0.13*ramp(rpm, 4500, 7000)) + noise
		advance := formulas["ignition.98"](rpm, fill) + formulas["ignition.intake"](32, 0)
		for k, v := range []struct {
			value  float64
			digits int
		}{{t, 2}, {rpm, 0}, {torque, 1}, {fill, 1}, {boost, 1}, {advance, 1}, {formulas["lambda.target"](rpm, fill), 3}, {32, 0}, {88, 0}, {98.6, 1}, {19, 0}, {52, 0}} {
			if k > 0 {
				b.WriteByte(',')
			}
			b.WriteString(rounded(v.value, v.digits))
		}
		b.WriteByte('\n')
	}
	return b.Bytes()
}

// rounded writes a number with so many digits. One near the middle of two is moved off it: there the last bit of a
// floating-point library would decide, and files would differ between machines.
func rounded(v float64, digits int) string {
	scaled := v * math.Pow10(digits)
	if fraction := scaled - math.Floor(scaled); math.Abs(fraction-0.5) < 1e-6 {
		v += 1e-5 / math.Pow10(digits)
	}
	return fmt.Sprintf("%.*f", digits, v)
}
