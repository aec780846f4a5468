package run

import (
	"fmt"
	"strconv"
)

// Says is what a run shows, in one sentence.
func Says(c *Curve, quality []Remark) string {
	corrected := "uncorrected"
	if c.Correction.Standard != None {
		corrected = "corrected by " + c.Correction.Title
	}
	doubts := "nothing doubtful was found"
	switch n := len(quality); {
	case n == 1:
		doubts = "1 thing is doubtful"
	case n > 1:
		doubts = fmt.Sprintf("%d things are doubtful", n)
	}
	return fmt.Sprintf("peak %.1f N·m at %s 1/min and %.0f kW at %s at the %s, %s; %s",
		c.PeakTorque.Torque, Thousands(c.PeakTorque.Speed), c.PeakPower.Power, Thousands(c.PeakPower.Speed), c.Place, corrected, doubts)
}

// Thousands is a whole number with commas, as 4,300.
func Thousands(v float64) string {
	s := strconv.FormatFloat(v, 'f', 0, 64)
	for i := len(s) - 3; i > 0 && s[i-1] != '-'; i -= 3 {
		s = s[:i] + "," + s[i:]
	}
	return s
}
