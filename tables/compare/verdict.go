package compare

import (
	"cmp"
	"math"
	"slices"
	"strings"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/definition"
	"witnessmark/tables/severity"
	"witnessmark/tables/signal"
)

// inherited is the origin of a finding that the base had as badly.
const inherited = "inherited"

// Key is a finding's key: RULE:TABLE or RULE:SIGNAL, or RULE alone where it has neither.
func Key(f *calibrationv1.Finding) string {
	if of := judgedID(f); of != "" {
		return f.GetRule() + ":" + of
	}
	return f.GetRule()
}

// judgedID is the table or the signal that a finding is about.
func judgedID(f *calibrationv1.Finding) string { return cmp.Or(f.GetTable(), f.GetSignal()) }

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

// oneOfEach makes one finding of all that rules could not evaluate, or not decide, of one table or signal, so that its key is its
// alone: it tells what each rule says, of rules that erred how many, and of cells that were not decided the most of any rule.
func oneOfEach(findings []*calibrationv1.Finding) []*calibrationv1.Finding {
	first, says := map[string]*calibrationv1.Finding{}, map[string][]string{}
	return slices.DeleteFunc(findings, func(f *calibrationv1.Finding) bool {
		if f.Rule != "undecided" && f.Rule != "rule-error" {
			return false
		}
		key := Key(f)
		into := first[key]
		says[key] = append(says[key], f.Detail)
		if into == nil {
			first[key] = f
			return false
		}
		into.Detail = joined(says[key])
		if f.Rule == "rule-error" {
			into.Count += f.Count
			return true
		}
		into.Count = max(into.Count, f.Count)
		if into.Worst == nil {
			into.Worst = f.Worst
		} else if f.Worst.GetBound() > into.Worst.GetBound() {
			into.Worst.Bound = f.Worst.Bound
		}
		return true
	})
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
// first; then rule and table or signal by id. What is still equal stays as it was found.
func order(findings []*calibrationv1.Finding, lay *definition.Layout) {
	type ranked struct {
		*calibrationv1.Finding
		inherited, rank, at int
		weight              float64
		id                  string
	}
	all := make([]ranked, len(findings))
	for i, f := range findings {
		all[i] = ranked{f, 0, severity.Of(f.Severity).Rank(), i, weight(f, lay), judgedID(f)}
		if !Counts(f) {
			all[i].inherited = 1
		}
	}
	slices.SortFunc(all, func(a, b ranked) int {
		return cmp.Or(
			cmp.Compare(a.inherited, b.inherited),
			cmp.Compare(b.rank, a.rank),
			cmp.Compare(b.weight, a.weight),
			strings.Compare(a.Rule, b.Rule),
			strings.Compare(a.id, b.id),
			cmp.Compare(a.at, b.at),
		)
	})
	for i, f := range all {
		findings[i] = f.Finding
	}
}

// weight is the excess in units of the limit, or of the finest step where that is more. A value that is
// no number outweighs every number.
func weight(f *calibrationv1.Finding, lay *definition.Layout) float64 {
	w := f.GetWorst()
	if w == nil || w.GetExcess() == 0 {
		return 0
	}
	scale := math.Abs(w.GetLimit())
	if t := lay.ByID[f.GetTable()]; t != nil {
		scale = max(scale, t.Cells.Conv.Step())
	}
	if sig := lay.SignalByID[f.GetSignal()]; sig != nil {
		scale = max(scale, signal.Step(lay, sig))
	}
	v := w.GetExcess() / scale
	if math.IsNaN(v) {
		return math.Inf(1)
	}
	return v
}
