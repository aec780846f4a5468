package limits

import (
	"witnessmark/tables/definition"
)

// Run is a run on the rolling road as the rules see it: one value a sample in every channel.
type Run struct {
	SHA256   string // hex, of the file as recorded
	Channels []RunChannel
	Time     []float64 // seconds, of each sample; rising
	Before   []*Run    // runs of the same car before the change
}

// RunChannel is one recorded quantity.
type RunChannel struct {
	Quantity, Unit string
	Values         []float64
}

// channel finds the samples of a quantity; nil where it was not recorded.
func (r *Run) channel(quantity string) *RunChannel {
	for i := range r.Channels {
		if r.Channels[i].Quantity == quantity {
			return &r.Channels[i]
		}
	}
	return nil
}

// weights are what each sample stands for: half the time to both of its neighbours, in seconds, or
// a point each where the times are not known.
func (r *Run) weights(n int) (each []float64, total float64, seconds bool) {
	each = make([]float64, n)
	last := len(r.Time) - 1
	seconds = last+1 == n && last > 0 && r.Time[last] > r.Time[0]
	for i := range each {
		each[i] = 1
		if seconds {
			each[i] = float64((r.Time[min(i+1, last)] - r.Time[max(i-1, 0)]) / 2)
		}
		total += each[i]
	}
	return each, total, seconds
}

// along is the run's samples of an axis' quantity, in the axis' unit.
func (r *Run) along(axis *definition.Axis) ([]float64, error) {
	c := r.channel(axis.Quantity)
	if c == nil {
		return nil, unjudged("the run has no channel of %s", axis.Quantity)
	}
	if len(c.Values) == 0 {
		return nil, unjudged("the run's channel of %s is empty", axis.Quantity)
	}
	unit, err := levels(c.Quantity, c.Unit, axis.Quantity, axisUnit(axis))
	if err != nil {
		return nil, unjudged("the run's %s: %v", axis.Quantity, err)
	}
	return unit.all(c.Values), nil
}
