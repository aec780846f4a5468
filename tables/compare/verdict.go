package compare

import (
	"cmp"
	"math"
	"slices"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/definition"
	"witnessmark/tables/severity"
)

// inherited is the origin of a finding that the base had as badly.
const inherited = "inherited"

// Key is a finding's key: RULE:TABLE, or RULE alone where it has no table.
func Key(f *calibrationv1.Finding) string {
	if f.GetTable() == "" {
		return f.GetRule()
	}
	return f.GetRule() + ":" + f.GetTable()
}

// Counts says whether a finding counts toward the verdict (it is not inherited).
func Counts(f *calibrationv1.Finding) bool { return f.GetOrigin() != inherited }

// Warnings are the sorted keys of the warnings that count: each needs a reason at sign-off.
func Warnings(r *calibrationv1.Report) []string {
	var keys []string
	for _, f := range r.GetFindings() {
		if f.GetSeverity() == "warning" && Counts(f) {
			keys = append(keys, Key(f))
		}
	}
	slices.Sort(keys)
	return slices.Compact(keys)
}

func verdict(findings []*calibrationv1.Finding) string {
	worst := severity.Clear
	for _, f := range findings {
		if of := severity.Of(f.GetSeverity()); Counts(f) && severity.Worse(of, worst) {
			worst = of
		}
	}
	return string(worst)
}

// order sorts findings: inherited last; worst severity first; largest excess against the limit
// first; then rule and table by id. What is still equal stays as it was found.
func order(findings []*calibrationv1.Finding, lay *definition.Layout) {
	last := func(f *calibrationv1.Finding) int {
		if Counts(f) {
			return 0
		}
		return 1
	}
	slices.SortStableFunc(findings, func(a, b *calibrationv1.Finding) int {
		return cmp.Or(
			cmp.Compare(last(a), last(b)),
			cmp.Compare(severity.Of(b.GetSeverity()).Rank(), severity.Of(a.GetSeverity()).Rank()),
			cmp.Compare(weight(b, lay), weight(a, lay)),
			cmp.Compare(a.GetRule(), b.GetRule()),
			cmp.Compare(a.GetTable(), b.GetTable()),
		)
	})
}

// weight is the excess in units of the limit. A value that is no number outweighs every number.
func weight(f *calibrationv1.Finding, lay *definition.Layout) float64 {
	w := f.GetWorst()
	if w == nil || w.GetExcess() == 0 {
		return 0
	}
	scale := math.Abs(w.GetLimit())
	if t := lay.ByID[f.GetTable()]; t != nil {
		scale = max(scale, t.Cells.Conv.Step())
	}
	v := w.GetExcess() / scale
	if math.IsNaN(v) {
		return math.Inf(1)
	}
	return v
}
