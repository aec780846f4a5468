package outcome

import "fmt"

// Peaks are a run's greatest torque and power and where they are; empty where it has no curve.
func (m *Measured) Peaks(u Units) (torque, power string) {
	if m.Curve == nil {
		return "", ""
	}
	t, p := m.Curve.PeakTorque, m.Curve.PeakPower
	return fmt.Sprintf("%s at %.0f 1/min", Text(t.Torque, u.Torque(), false), t.Speed),
		fmt.Sprintf("%s at %.0f 1/min", Text(p.Power, u.Power(), false), p.Speed)
}

// MeasuredAt says where the compared torque was measured; empty where nothing is compared.
func (o *Outcome) MeasuredAt() string {
	if o.Gain == nil {
		return ""
	}
	return o.Gain.At()
}
