package run

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/stat/distuv"
)

// falsely is how often a job without any gain may show one, in whatever it shows.
const falsely = 0.01

// looks is for how many separate statistics the four amounts of a job and its engine speeds count: they
// move together, since most of what runs differ by is the whole run's. Four hold the share above
// for runs that differ by an offset, a tilt, a change at one place, waves of 60 to 1500 1/min and
// mixtures of these, with two to ten runs a side, as trials found it (gain_test.go repeats some).
const looks = 4

// independent is the engine speed over which what a run differs by is taken to be new.
const independent = 100 // 1/min

// design is which runs are of which side, and the order in which they were made.
type design struct {
	after []bool
	order []float64 // all 0 where not known
	drift bool      // the gain is that at one place in the order
}

// effect is the gain in one value of each run.
type effect struct {
	before, after float64 // means; with a drift both at the middle of the order
	err           float64 // standard error of after less before; 0 where it cannot be told
	slope         float64 // from one run to the next, of both sides together
	slopeErr      float64 // 0 where it cannot be told
}

// sides is how many runs are on each.
func (d *design) sides() (before, after float64) {
	for _, a := range d.after {
		if a {
			after++
		} else {
			before++
		}
	}
	return before, after
}

// freedom is the degrees of freedom that the spread within the sides has.
func (d *design) freedom() float64 {
	before, after := d.sides()
	if d.drift {
		return before + after - 3
	}
	return before + after - 2
}

// interleaved reports whether the runs of one side were not all made before those of the other.
func (d *design) interleaved() bool {
	turns := 0
	by := make([]int, len(d.order))
	for i := range by {
		by[i] = i
	}
	slices.SortStableFunc(by, func(a, b int) int { return compareFloat(d.order[a], d.order[b]) })
	for i := 1; i < len(by); i++ {
		if d.after[by[i]] != d.after[by[i-1]] {
			turns++
		}
	}
	return turns > 1
}

// of is the effect in one value of each run: the difference of the sides' means by least squares, with a
// slope over the order in which the runs were made if the design has a drift.
func (d *design) of(value []float64) effect {
	nb, na := d.sides()
	var e effect
	var orderBefore, orderAfter float64
	for i, v := range value {
		if d.after[i] {
			e.after += v / na
			orderAfter += d.order[i] / na
		} else {
			e.before += v / nb
			orderBefore += d.order[i] / nb
		}
	}
	var xx, xy, yy float64
	for i, v := range value {
		x, y := d.order[i]-orderBefore, v-e.before
		if d.after[i] {
			x, y = d.order[i]-orderAfter, v-e.after
		}
		xx += float64(x * x)
		xy += float64(x * y)
		yy += float64(y * y)
	}
	if xx > 0 {
		e.slope = xy / xx
		if f := nb + na - 3; f > 0 {
			e.slopeErr = math.Sqrt(max(yy-float64(e.slope*xy), 0) / f / xx)
		}
	}
	if nb < 2 || na < 2 {
		return e
	}
	share := 1/nb + 1/na
	if d.drift {
		apart := orderAfter - orderBefore
		middle := (float64(orderBefore*nb) + float64(orderAfter*na)) / (nb + na)
		e.before += float64(e.slope * (middle - orderBefore))
		e.after += float64(e.slope * (middle - orderAfter))
		yy, share = max(yy-float64(e.slope*xy), 0), share+float64(apart*apart)/xx
	}
	e.err = math.Sqrt(yy / d.freedom() * share)
	return e
}

// critical is how many standard errors a gain must be beyond, anywhere in a band of so many 1/min: by
// Student's t for the looks, with the freedom of the runs; and no less than Bonferroni asks for as many
// engine speeds as are independent, whose spreads are taken together.
func (d *design) critical(width float64) float64 {
	speeds := 1 + width/independent
	return max(student(falsely/looks, d.freedom()), student(falsely/(speeds+4), d.freedom()*speeds))
}

// student is what a t of so much freedom exceeds on either side in a share of cases.
func student(share, freedom float64) float64 {
	return distuv.StudentsT{Mu: 0, Sigma: 1, Nu: freedom}.Quantile(1 - float64(share/2))
}
