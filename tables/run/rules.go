package run

import "witnessmark/tables/limits"

// ForRules is the run as limits see it, under the hash of its file; before are runs of the same car before the change.
func (r *Run) ForRules(sha256 string, before ...*limits.Run) *limits.Run {
	out := &limits.Run{SHA256: sha256, Time: r.Time, Before: before}
	for _, c := range r.Channels {
		samples, ok := r.Values(c.Quantity)
		if !ok {
			continue
		}
		values := make([]float64, len(samples))
		for i, v := range samples {
			values[i] = float64(v)
		}
		out.Channels = append(out.Channels, limits.RunChannel{Quantity: c.Quantity, Unit: c.Unit, Values: values})
	}
	return out
}
