package limits

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/definition"
)

// anySheet draws a table that may hold anything: steps, broken axes, NaN, infinities, labels, raw values
// with a pole in between.
func anySheet(t *rapid.T, id string) sheet {
	odd := rapid.OneOf(rapid.Float64(), rapid.Float64Range(-3, 3), rapid.SampledFrom([]float64{nan, inf, -inf, 0, math.Copysign(0, -1), 1, 1, 2, math.MaxFloat64}))
	axis := func(name string) []float64 {
		points := rapid.SliceOfN(odd, 0, 4).Draw(t, name)
		if len(points) == 0 {
			return nil
		}
		return points
	}
	s := sheet{id: id, unit: "deg", x: axis("x"), y: axis("y"), index: rapid.Bool().Draw(t, "index")}
	if s.x != nil && s.y != nil && rapid.Bool().Draw(t, "block") {
		s.beyond = []deep{{what: "gear 1", points: rapid.SliceOfN(odd, 1, 3).Draw(t, "gears"), index: rapid.Bool().Draw(t, "index of gears")}, {points: []float64{0, 1}, index: true, labels: []string{"a", "b"}}}
	}
	if s.x != nil && rapid.IntRange(0, 4).Draw(t, "names") == 0 {
		for i := range s.x {
			s.x[i] = float64(i)
		}
		s.xLabels = []string{"a", "b", "c", "d"}[:len(s.x)]
	}
	if rapid.IntRange(0, 6).Draw(t, "free") == 0 {
		s.free = "U / min"
	}
	n := max(1, len(s.x)) * max(1, len(s.y)) * s.slices()
	switch rapid.IntRange(0, 5).Draw(t, "kind") {
	case 0:
		s.labels = map[int64]string{1: "one"}
	case 1:
		s.rational = &definition.Conversion{Rational: true, Num: [3]float64{1, 2, 0}, Den: [3]float64{-1, 1, 0}}
	}
	if rapid.IntRange(0, 5).Draw(t, "by pairs") == 0 && s.labels == nil && s.rational == nil {
		seven := 7.0
		s.points = &definition.Points{Raw: []float64{1, 2, 100}, Physical: []float64{2, -1, 3}, Step: rapid.Bool().Draw(t, "steps"), Outside: []*float64{nil, &seven}[rapid.IntRange(0, 1).Draw(t, "outside")]}
	}
	s.v = rapid.SliceOfN(odd, n, n).Draw(t, "v")
	if s.labels == nil && rapid.Bool().Draw(t, "codes") {
		s.off = drawCodes(t, "code", n)
	}
	if s.labels != nil || s.rational != nil || s.points != nil {
		s.v = rapid.SliceOfN(rapid.SampledFrom([]float64{0, 1, 2, 200}), n, n).Draw(t, "raw")
	}
	return s
}

var anyRules = []string{
	`{"range":{"min":-1,"max":1}}`, `{"change":{"max_up":1,"max_down":1}}`, `{"change":{"percent":true,"max_up":10}}`, `{"frozen":{}}`,
	`{"slope":{"along":"x","max":1}}`, `{"slope":{"along":"y","max":1}}`, `{"lump":{"max":1}}`, `{"monotonic":{"of":"axes"}}`,
	`{"monotonic":{"of":"values","along":"x","rising":true}}`, `{"monotonic":{"of":"values","along":"y","falling":true}}`,
	`{"range":{"min":-1,"max":1},"where":{"engine_speed":{"from":0,"to":1,"unit":"1/min"}}}`, `{"change":{"max_up":1},"where":{"load":{"from":0.5,"unit":"%"}}}`,
	`{"lump":{"max":1},"where":{"load":{"from":0.5,"unit":"%"}}}`, `{"monotonic":{"of":"axes"},"where":{"load":{"to":0.5,"unit":"%"}}}`,
	`{"below":{"table":"b","margin":1},"where":{"load":{"from":0.5,"to":0.5,"unit":"%"}}}`,
	`{"below":{"table":"b","margin":1}}`, `{"above":{"table":"b"}}`, `{"covers":{}}`, envelope1,
	`{"range":{"max":1},"where":{"gear":{"from":0,"to":2,"unit":"1"}}}`, `{"envelope":{"side":"max","x":{"quantity":"gear","points":[0,1]},"values":[[1,2]]}}`,
	`{"expression":"table('a').at(0, 0, 0, 1) < base('a').min()"}`,
	`{"expression":"table('a').max() < table('b').min() && base('a').at(1) < 3"}`,
}

// Whatever the tables hold: no panic, the same answer twice, and findings that make sense.
func TestAnyTables(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var base, cand []sheet
		for _, id := range []string{"a", "b"} {
			cand, base = append(cand, anySheet(t, id)), append(base, anySheet(t, id))
		}
		if rapid.Bool().Draw(t, "check") {
			base = nil
		}
		for _, text := range anyRules {
			r := rule(text)
			in := judging(base, cand)
			in.budget = 300
			out := judged(t, in, r)
			for _, f := range out.Findings {
				if f.Rule == "rule-error" && r.GetExpression() != "" || f.Rule == "undecided" {
					continue
				}
				if f.Rule != "r" || f.Count == 0 || f.Worst != nil && !(f.Worst.Excess >= 0) || (f.Origin == "") != (base == nil) {
					t.Fatalf("%s: %v", text, f)
				}
			}
			if again := judged(t, in, r); fmt.Sprint(again.Findings, again.Margins, again.Unjudged, again.JudgedBy) != fmt.Sprint(out.Findings, out.Margins, out.Unjudged, out.JudgedBy) {
				t.Fatalf("%s: another answer the second time", text)
			}
		}
	})
}

// FuzzExpression looks for text that stops the compiler or the evaluation.
func FuzzExpression(f *testing.F) {
	for _, seed := range []string{
		`table('a').max() < 1.0`, `base("a").at(1, 2.5) == job.power`, `true ? table('b').value() > 1.0 : false`, `[1].all(x, x > 0)`,
		`table(`, `'\x`, `table('a').at()`, `1/0 == 1`, `has(job.x)`, ``, `((((`, "\x00", `table('a').max() < 1.0 &&`,
	} {
		f.Add(seed)
	}
	sheets := exprSheets(1, 2)
	f.Fuzz(func(t *testing.T, text string) {
		l := &Limits{Source: &calibrationv1.Limits{Rules: []*calibrationv1.Rule{exprRule(text)}}}
		in := judging(sheets, sheets)
		err := l.Check(in.Layout)
		out, judgeErr := Judge(l, in)
		if judgeErr != nil {
			t.Fatal(judgeErr)
		}
		if n := len(out.Findings) + len(out.Unjudged); n > 1 {
			t.Fatalf("one rule, %d answers: %v %v", n, out.Findings, out.Unjudged)
		}
		for _, f := range out.Findings {
			if f.Rule == "own" && strings.Contains(fmt.Sprint(err), "reference") {
				t.Errorf("refused (%v), and judged: %v", err, f)
			}
		}
	})
}

var anySignalRules = []string{
	`"range":{"unit":"deg","min":0,"max":30}`, `"change":{"unit":"deg","max_up":1,"max_down":1}`, `"change":{"percent":true,"max_up":10}`,
	`"envelope":{"side":"max","unit":"deg","x":{"quantity":"filling","unit":"1","points":[0,1]},"values":[[42,22]]}`,
	`"range":{"unit":"deg","max":30},"where":{"filling":{"from":50,"to":90,"unit":"%"}}`,
	`"envelope":{"side":"min","unit":"deg","x":{"quantity":"engine_speed","unit":"1/min","points":[0,9000]},"values":[[0,2]]},"where":{"filling":{"to":90,"unit":"%"},"voltage":{"from":1,"to":1,"unit":"V"}}`,
}

// Whatever the tables that a signal depends on hold: no panic, the same answer twice, and findings that make sense.
func TestAnySignals(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		odd := rapid.OneOf(rapid.Float64Range(-3, 600), rapid.SampledFrom([]float64{nan, inf, -inf, 0, 1, 40, math.MaxFloat64, math.SmallestNonzeroFloat64}))
		r := meterRig()
		cand := map[string][]float64{}
		for _, id := range []string{"meter", "base"} {
			r.cells[id] = rapid.SliceOfN(odd, 2, 2).Draw(rt, id)
			cand[id] = rapid.SliceOfN(odd, 2, 2).Draw(rt, id+" now")
		}
		in := r.judging(t, cand)
		in.budget = 300
		if rapid.Bool().Draw(rt, "fitted") {
			in.Job = &calibrationv1.JobFacts{Numbers: map[string]float64{"meter_changed": 1}}
		}
		for _, text := range anySignalRules {
			out := checked(t, in, onPlug(text, ""))
			for _, f := range out.Findings {
				if f.Signal != "plug" || f.Count == 0 || f.Rule == "r" && (!(f.Worst.Excess > 0) || f.Worst.GetBound() < f.Worst.Excess || f.Origin == "" || len(f.Worst.Inputs) != 2) {
					rt.Fatalf("%s: %v", text, f)
				}
			}
			if len(out.Findings)+len(out.Margins)+len(out.Unjudged)+len(out.Passed)+len(out.JudgedBy) == 0 {
				rt.Fatalf("%s: no word of it", text)
			}
			if again := checked(t, in, onPlug(text, "")); fmt.Sprint(again.Findings, again.Margins, again.Unjudged, again.JudgedBy) != fmt.Sprint(out.Findings, out.Margins, out.Unjudged, out.JudgedBy) {
				rt.Fatalf("%s: another answer the second time", text)
			}
		}
	})
}
