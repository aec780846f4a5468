package run

import calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"

// Summary is a run as it is shown; raw points are left out.
func Summary(r *Run, s Sweep, c *Curve, quality []Remark) *calibrationv1.RunSummary {
	out := &calibrationv1.RunSummary{
		File: r.Name, LeftOut: r.Left, Duration: r.Duration(), Samples: uint32(len(r.Time)),
		Sweep: &calibrationv1.RunSweep{Low: s.Low, High: s.High, Begin: s.Begin, Until: s.Until, Samples: uint32(s.To - s.From)},
		Curve: c.Message(),
	}
	for _, ch := range r.Channels {
		out.Channels = append(out.Channels, &calibrationv1.Channel{Header: ch.Header, Quantity: ch.Quantity, Unit: ch.Unit})
	}
	for _, q := range quality {
		out.Quality = append(out.Quality, &calibrationv1.RunRemark{Kind: q.Kind, Speed: q.Speed, Text: q.Text})
	}
	return out
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
	return &calibrationv1.RunPoint{Speed: p.Speed, Torque: p.Torque, Power: p.Power}
}

// Message is the correction with the weather that it used.
func (c Correction) Message() *calibrationv1.RunCorrection {
	out := &calibrationv1.RunCorrection{Standard: string(c.Standard), Title: c.Title, Formula: c.Formula, Factor: c.Factor,
		OutOfRange: c.OutOfRange, Why: c.Why, Notes: c.Notes}
	if c.Weather != nil {
		vapour := c.Vapour
		out.Pressure, out.Temperature, out.Humidity = &c.Weather.Pressure, &c.Weather.Temperature, c.Weather.Humidity
		out.Vapour, out.Low, out.High = &vapour, &c.Low, &c.High
	}
	return out
}
