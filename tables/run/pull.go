package run

import (
	"fmt"
	"slices"
)

// Pull is one run as it is compared with others.
type Pull struct {
	Name  string // of the run; of a file with several sweeps, with the sweep's number
	Run   *Run
	Sweep Sweep
	Curve *Curve
	Order int // its place among the runs of both sides as they were made, from 1; 0 where that is not known

	boosted bool
	air     *air
	noAir   error // why there is none
}

// MakePull makes the curve of a sweep as the options ask for, and keeps the weather beside it even
// where nothing is corrected: what that could have made of a gain is part of what is told of it.
func MakePull(r *Run, s Sweep, o Options) (*Pull, error) {
	curve, err := MakeCurve(r, s, o)
	if err != nil {
		return nil, err
	}
	p := &Pull{Name: r.Name, Run: r, Sweep: s, Curve: curve, boosted: o.Forced || r.boosted(s)}
	if o.Weather != nil {
		p.air = &air{Weather: *o.Weather, half: finest}
	} else {
		p.air, p.noAir = r.air(s)
	}
	return p, nil
}

// SweepName is what a sweep of a run is called, by its number from 1 among so many of its file.
func SweepName(name string, number, of int) string {
	if of == 1 {
		return name
	}
	return fmt.Sprintf("%s, sweep %d", name, number)
}

// torque is the curve's torque at a grid speed, without its correction.
func (p *Pull) torque(speed float64) (float64, bool) {
	for _, at := range p.Curve.Points {
		if at.Speed == speed {
			return at.Torque / p.Curve.Correction.Factor, true
		}
	}
	return 0, false
}

// sameAs reports whether two pulls are one recording: no two runs are alike to the last digit.
func (p *Pull) sameAs(o *Pull) bool {
	return slices.EqualFunc(p.Curve.Points, o.Curve.Points, func(a, b Point) bool {
		return a.Speed == b.Speed && a.Torque/p.Curve.Correction.Factor == b.Torque/o.Curve.Correction.Factor
	})
}

// ends are the first and the last engine speed of the curve.
func (p *Pull) ends() (low, high float64) {
	c := p.Curve.Points
	return c[0].Speed, c[len(c)-1].Speed
}
