package desk

import "testing"

// The card shows what the car's numbers come to: 180 / 75 mm at 6500 1/min is 15600, by hand.
func TestCardShowsNumbersAndWhatTheyComeTo(t *testing.T) {
	w := submittedWorld(t, "submission-2.bin")
	w.inside(w.lead.desk).shows("/job/1", "blower_pulley_mm = 75", "rotor_speed_max = 15600 1/min, from", "rotor_speed_margin = ", "source: ")
}
