// Package bounded judges functions over boxes of operating points: it finds where one lies beyond another, or proves
// that it does so nowhere, by enclosures that are split until they decide.
package bounded

// MaxInputs is how many inputs a function has at most.
const MaxInputs = 8

// Box is a stretch of each input; one that is not there has 0 to 0.
type Box [MaxInputs]Interval

// Bounds encloses a function over a box.
type Bounds struct {
	Interval
	// Slope encloses the slope along each input: 0 for one that it does not depend on.
	Slope [MaxInputs]Interval
	// Smooth: it is continuous over the box, and the slopes hold all over it. Kinks are fine: their slopes are hulled.
	Smooth bool
	// Multilinear: over the box it is of degree one at most in each input, the others held.
	Multilinear bool
	// Inputs is the mask of those that it depends on: bit i for input i.
	Inputs uint8
}

// Sub is a − b, as if they did not depend on each other.
func (a *Bounds) Sub(b *Bounds) Bounds {
	d := Bounds{
		Interval:    a.Interval.Sub(b.Interval),
		Smooth:      a.Smooth && b.Smooth,
		Multilinear: a.Multilinear && b.Multilinear,
		Inputs:      a.Inputs | b.Inputs,
	}
	for i := range d.Slope {
		if d.Inputs>>i&1 != 0 {
			d.Slope[i] = a.Slope[i].Sub(b.Slope[i])
		}
	}
	return d
}

func (a *Bounds) neg() Bounds {
	zero := Bounds{Smooth: true, Multilinear: true}
	return zero.Sub(a)
}

// Function is a quantity over operating points. The cell is the product of stretches between neighbouring breakpoints in
// which point and box lie; where the function steps, it says from which side is looked.
// The same arguments give the same answer, in any order of asking.
type Function interface {
	// At is the value at a point: NaN or infinite where there is none.
	At(cell *Box, p *[MaxInputs]float64) float64
	// Over encloses every At of the box.
	Over(cell, box *Box) Bounds
}
