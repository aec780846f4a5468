package run

import calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"

// Summary is a run as it is shown, with all its sweeps and the one of the curve, from 1; raw points are
// left out.
func Summary(r *Run, sweeps []Sweep, chosen int, c *Curve, quality []Remark) *calibrationv1.RunSummary {
	out := &calibrationv1.RunSummary{File: r.Name, Says: Says(c, quality), LeftOut: r.Left, Duration: r.Duration(), Samples: uint32(len(r.Time)),
		Chosen: uint32(chosen), Curve: c.Message()}
	for _, s := range sweeps {
		out.Sweeps = append(out.Sweeps, s.message())
	}
	out.Sweep = sweeps[chosen-1].message()
	out.Sweep.LeftOut += uint32(len(c.LeftOut))
	for _, ch := range r.Channels {
		out.Channels = append(out.Channels, &calibrationv1.Channel{Header: ch.Header, Quantity: ch.Quantity, Unit: ch.Unit})
	}
	for _, q := range quality {
		out.Quality = append(out.Quality, &calibrationv1.RunRemark{Kind: q.Kind, Speed: q.Speed, Text: q.Text})
	}
	return out
}

func (s Sweep) message() *calibrationv1.RunSweep {
	return &calibrationv1.RunSweep{Low: s.Low, High: s.High, Begin: s.Begin, Until: s.Until, Samples: uint32(len(s.Rows)), LeftOut: uint32(len(s.Wild))}
}

// Message is the curve as it is shown and kept.
func (c *Curve) Message() *calibrationv1.RunCurve {
	out := &calibrationv1.RunCurve{Place: string(c.Place), Correction: c.Correction.Message(), Step: c.Step,
		PeakTorque: c.PeakTorque.message(), PeakPower: c.PeakPower.message(), Spread: c.Spread}
	for _, p := range c.Points {
		out.Points = append(out.Points, p.message())
	}
	return out
}

func (p Point) message() *calibrationv1.RunPoint {
	out := &calibrationv1.RunPoint{Speed: p.Speed, Torque: p.Torque, Power: p.Power}
	if p.PlusMinus > 0 {
		out.PlusMinus = &p.PlusMinus
	}
	return out
}

// Message is the correction with the weather that it used.
func (c Correction) Message() *calibrationv1.RunCorrection {
	out := &calibrationv1.RunCorrection{Standard: string(c.Standard), Title: c.Title, Formula: c.Formula, Factor: c.Factor,
		OutOfRange: c.OutOfRange, PlusMinus: c.PlusMinus, Why: c.Why, Notes: c.Notes}
	if c.Weather != nil {
		vapour := c.Vapour
		out.Pressure, out.Temperature, out.Humidity = &c.Weather.Pressure, &c.Weather.Temperature, c.Weather.Humidity
		out.Vapour, out.Low, out.High = &vapour, &c.Low, &c.High
	}
	return out
}
