package outcome

import (
	"fmt"

	"witnessmark/tables/run"
)

// Peaks are a run's greatest torque and power and where they are; empty where it has no curve.
func (m *Measured) Peaks(u Units) (torque, power string) { return peaks(m.Curve, u) }

func peaks(c *run.Curve, u Units) (torque, power string) {
	if c == nil {
		return "", ""
	}
	t, p := c.PeakTorque, c.PeakPower
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
