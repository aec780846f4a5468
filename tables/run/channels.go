package run

import "fmt"

// Values are a channel's samples in its unit; false where the run has no such channel.
func (r *Run) Values(quantity string) ([]float32, bool) {
	for i, c := range r.Channels {
		if c.Quantity == quantity {
			return r.values[i], true
		}
	}
	return nil, false
}

// Unit is the unit of a channel; empty where there is none.
func (r *Run) Unit(quantity string) string {
	for _, c := range r.Channels {
		if c.Quantity == quantity {
			return c.Unit
		}
	}
	return ""
}

// Duration is the time from the first sample to the last, s.
func (r *Run) Duration() float64 {
	if len(r.Time) == 0 {
		return 0
	}
	return r.Time[len(r.Time)-1] - r.Time[0]
}

// need is a channel that something cannot do without.
func (r *Run) need(quantity, what string) ([]float32, error) {
	v, ok := r.Values(quantity)
	if !ok {
		return nil, fmt.Errorf("%s: column %s is missing: %s needs it", r.Name, quantity, what)
	}
	return v, nil
}
