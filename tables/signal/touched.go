package signal

import (
	"slices"

	"witnessmark/tables/definition"
)

// Touched says whether what a signal gives may not be what it was: a table that it depends on changed, or the base's definition
// computes it, or a signal that it depends on, in another way or not at all.
func Touched(was *definition.Layout, sig *definition.Signal, changed func(table string) bool) bool {
	if slices.ContainsFunc(sig.Tables, func(t *definition.Table) bool { return changed(t.ID) }) {
		return true
	}
	old := was.SignalByID[sig.ID]
	if old == sig {
		return false
	}
	otherwise := func(s *definition.Signal) bool {
		o := was.SignalByID[s.ID]
		return o == nil || o.Source.GetValue() != s.Source.GetValue() || o.Unit != s.Unit
	}
	return otherwise(sig) || len(old.Signals) != len(sig.Signals) || slices.ContainsFunc(sig.Signals, otherwise)
}
