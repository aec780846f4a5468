package runcheck

import (
	"witnessmark/tables/run"
)

// What counts as load. Common practice, no source.
const (
	loadPressure = 0.95 // of the barometer
	barometer    = 100  // kPa, where the run has none
	loadShare    = 80   // %, of filling, pedal or throttle
)

// load says when the engine is under load: by the pressure in its manifold, else its filling, else the pedal or the throttle,
// else all along the run's sweeps.
func (c *check) load() {
	if p, err := c.channel(pressure, "kPa"); err == nil {
		b, _ := c.channel("barometric_pressure", "kPa")
		c.loaded = func(i int) bool {
			air := float64(barometer)
			if b != nil && !b.hole(i) {
				air = b.at(i)
			}
			return !p.hole(i) && p.at(i) >= float64(loadPressure*air)
		}
		return
	}
	for _, quantity := range []string{"cylinder_filling", "pedal_position", "throttle"} {
		if ch, err := c.channel(quantity, "%"); err == nil {
			c.loaded = func(i int) bool { return !ch.hole(i) && ch.at(i) >= loadShare }
			return
		}
	}
	pulled := make([]bool, len(c.Run.Time))
	sweeps, err := run.FindSweeps(c.Run)
	for _, s := range sweeps {
		for _, i := range s.Rows {
			pulled[i] = true
		}
	}
	if err != nil {
		c.left("nothing tells when the engine is under load: the run has no manifold_pressure, cylinder_filling, pedal_position or throttle, and no sweep")
	}
	c.loaded = func(i int) bool { return pulled[i] }
}
