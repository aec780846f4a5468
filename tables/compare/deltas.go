package compare

import (
	"math"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/definition"
)

// deltas is what differs between numbers: on the joined surface where breakpoints moved, else cell by cell. There are not any
// of labels and texts, or where a code that is no value has a part in all that differs.
func (c *change) deltas() (d deltas, any bool) {
	if !c.numeric() {
		return d, false
	}
	d = c.byCell
	if len(c.joints) > 0 {
		d = deltas{}
	}
	for _, j := range c.joints {
		j.each(func(p spot) {
			if !p.off() && !near(p.base, p.cand, c.candTable.Cells.Rounding(p.base, p.cand)) {
				d.add(p.cand - p.base)
			}
		})
	}
	return d, d.n > 0 || !c.codes() || c.base().Off == nil && c.cand().Off == nil
}

// deltas sums up differences in the order they come.
type deltas struct {
	n                      int
	min, max, sum, squares float64
}

func (d *deltas) add(v float64) {
	if d.n == 0 {
		d.min, d.max = v, v
	}
	d.min, d.max = min(d.min, v), max(d.max, v)
	d.sum += v
	d.squares += float64(v * v)
	d.n++
}

// exact says that a difference of two raw values fits 64 bits, and is what makes a delta.
func exact(c *definition.Cells) bool {
	return !c.Float && c.Conv.Affine() && !c.Magnitude && c.Width < 64
}

// rises adds raw differences, none of them 0, times a finite factor: nothing of that is 0 or no number.
func (d *deltas) rises(rise []int64, factor float64) {
	least, most, sum, squares := math.Inf(1), math.Inf(-1), 0.0, 0.0
	for _, r := range rise {
		v := float64(float64(r) * factor)
		if v < least {
			least = v
		}
		if v > most {
			most = v
		}
		sum += v
		squares += float64(v * v)
	}
	*d = deltas{len(rise), least, most, sum, squares}
}

// summary is all zero where nothing differs.
func (d deltas) summary(out *calibrationv1.Delta) *calibrationv1.Delta {
	if d.n > 0 {
		n := float64(d.n)
		out.Min, out.Max, out.Mean, out.Rms = d.min, d.max, d.sum/n, math.Sqrt(d.squares/n)
	}
	return out
}
