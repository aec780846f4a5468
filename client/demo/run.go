package demo

import (
	"bytes"
	"fmt"
	"math"

	"witnessmark/tables/signal"
	"witnessmark/tables/surface"
)

// pull is a full-load run on the rolling road with an image in the controller, from 1500 to 6800 1/min in 14 s, fifty
// samples a second. What it logs of charge pressure, advance and lambda is what the image's tables ask for there.
func (m *memory) pull() ([]byte, error) {
	space := signal.NewSpace(m.lay)
	view := signal.Open(m.lay, func(id string) *surface.Decoded { return surface.Decode(m.lay.ByID[id], m.bytes) }).In(space)
	asks := map[string]*signal.Function{}
	for _, id := range []string{"boost.request", "filling.model", "advance.plug", "lambda.commanded"} {
		f, err := view.Signal(id)
		if err != nil {
			return nil, err
		}
		asks[id] = f
	}
	var b bytes.Buffer
	b.WriteString("time [s],engine_speed [1/min],pedal_position [%],torque [N.m],manifold_pressure [kPa],meter_voltage [V],cylinder_filling [%],ignition_advance [deg],lambda [1]," +
		"knock_retard [deg],intake_temperature [Cel],coolant_temperature [Cel],exhaust_temperature [Cel],barometric_pressure [kPa],ambient_temperature [Cel],relative_humidity [%]\n")
	x := uint32(0x52554E31)
	for i := range 14*50 + 1 {
		t := float64(i) / 50
		rpm := math.Round(1500 + 5300*ramp(t, 1, 13))
		at := map[string]float64{"engine_speed": rpm, "pedal_position": 100, "intake_temperature": 32, "coolant_temperature": 88,
			"exhaust_temperature": math.Round(720 + 190*ramp(rpm, 1500, 6800))}
		ask := func(id string) float64 {
			var p signal.Point
			var c signal.Box
			for k, in := range space.Inputs() {
				p[k] = at[in.Quantity]
				c[k].Lo, c[k].Hi = p[k], p[k]
			}
			return asks[id].At(&c, &p)
		}
		boost := ask("boost.request")
		air := 0.91 * boost * (1 - 0.1*ramp(rpm, 5000, 7000)) * rpm / 1543.2 // kg/h, of which the meter's voltage comes
		at["meter_voltage"] = math.Round(1000*(0.9+4*math.Pow((air-6.02)/700, 1/2.6))) / 1000
		fill := ask("filling.model")
		x = x*1664525 + 1013904223
		noise := float64(x>>24)/256 - 0.5 // what such a brake's reading wanders by
		torque := 1.42*fill*(1-0.13*ramp(rpm, 4500, 7000)) + noise
		for k, v := range []struct {
			value  float64
			digits int
		}{{t, 2}, {rpm, 0}, {100, 0}, {torque, 1}, {boost, 1}, {at["meter_voltage"], 3}, {fill, 1}, {ask("advance.plug"), 1}, {ask("lambda.commanded"), 3},
			{0, 1}, {32, 0}, {88, 0}, {at["exhaust_temperature"], 0}, {98.6, 1}, {19, 0}, {52, 0}} {
			if k > 0 {
				b.WriteByte(',')
			}
			b.WriteString(rounded(v.value, v.digits))
		}
		b.WriteByte('\n')
	}
	return b.Bytes(), nil
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
