package limits

import (
	"fmt"
	"runtime"
	"strings"
	"testing"
	"time"
)

// figures runs something, and prints how long it took and what it allocated.
func figures(t *testing.T, what string, do func()) {
	t.Helper()
	var before, after runtime.MemStats
	runtime.ReadMemStats(&before)
	from := time.Now()
	do()
	took := time.Since(from)
	runtime.ReadMemStats(&after)
	t.Logf("%s: %v, %.1f MiB allocated", what, took.Round(time.Millisecond), float64(after.TotalAlloc-before.TotalAlloc)/(1<<20))
}

// As many rules as a file may hold are read, fitted and judged; a million of them are more.
func TestAMillionRules(t *testing.T) {
	file := func(n int) []byte {
		var b strings.Builder
		b.WriteString("name: l\nrules:\n")
		for i := range n {
			fmt.Fprintf(&b, "- {id: r%d, severity: notice, select: {}, range: {unit: deg, max: 1}}\n", i)
		}
		return []byte(b.String())
	}
	figures(t, "a million rules refused", func() {
		if _, err := Load("l.yaml", file(1_000_000)); err == nil {
			t.Error("a million rules are read")
		}
	})
	n := 20_000
	if testing.Short() {
		n = 2_000
	}
	var l *Limits
	figures(t, fmt.Sprintf("%d rules read", n), func() {
		var err error
		if l, err = Load("l.yaml", file(n)); err != nil {
			t.Fatal(err)
		}
	})
	in := judging(one(sheet{id: "t", quantity: "q", unit: "deg", v: []float64{0}}), one(sheet{id: "t", quantity: "q", unit: "deg", v: []float64{2}}))
	figures(t, "and judged", func() {
		if err := l.Check(in.Layout); err != nil {
			t.Fatal(err)
		}
		out, err := Judge(l, in)
		if err != nil || len(out.Findings) != n {
			t.Errorf("%d findings, %v", len(out.Findings), err)
		}
	})
}

// An expression that would run for ever, or grow without end, is stopped by its cost and says so; one that nests too deep is
// refused before.
func TestCostlyExpressions(t *testing.T) {
	lists := "[1,2,3,4,5,6,7,8,9,10]"
	nested := func(n int, body string) string {
		for i := range n {
			body = fmt.Sprintf("%s.all(x%d, %s)", lists, i, body)
		}
		return body
	}
	doubled := "'aaaaaaaaaa'"
	for range 9 {
		doubled = "(" + doubled + "+" + doubled + ")"
	}
	sheets := exprSheets(1, 2)
	for _, c := range []struct{ name, text string }{
		{"loops in loops", nested(9, "table('a').max() < 100.0")},
		{"a hundred loops in loops", nested(100, "true")},
		{"a text that doubles", doubled + ".size() > 3 && " + nested(8, doubled+" != ''")},
		{"a list of lists", nested(7, "["+strings.Repeat(lists+",", 80)+"1].size() > 1")},
		{"brackets", strings.Repeat("(", 4000) + "true" + strings.Repeat(")", 4000)},
	} {
		l := limitsOf(exprRule(c.text))
		in := judging(sheets, sheets)
		figures(t, c.name, func() {
			refused := l.Check(in.Layout)
			out, err := Judge(l, in)
			if err != nil || len(out.Findings) != 1 || out.Findings[0].Rule != "rule-error" {
				t.Errorf("%s: it was judged (%v, %v)", c.name, out.Findings, refused)
			}
		})
	}
}

// Fifty look-ups, each through what the one before gives: judged within the budget, and what was not decided is said.
func TestFiftyLookUps(t *testing.T) {
	r := &rig{}
	zig := func(lift float64) []float64 {
		out := make([]float64, 12)
		for i := range out {
			out[i] = float64(10*(i%2)) + float64(i)/2 + lift
		}
		return out
	}
	axis := func(q string) []string {
		return []string{q + " 1: " + list(even(0, 16, 12)), "other 1: " + list(even(0, 16, 6))}
	}
	all := func(lift float64) (out []float64) {
		for range 6 {
			out = append(out, zig(lift)...)
		}
		return out
	}
	for i := range 50 {
		r.table(fmt.Sprintf("t%d", i), "quantity: q, unit: '1'", axis(fmt.Sprintf("q%d", i)), all(0)...)
		r.signal(fmt.Sprintf("s%d", i), fmt.Sprintf("quantity: q%d, unit: '1', feeds: true", i+1), fmt.Sprintf("table('t%d')", i))
	}
	r.input("q0", "1", 0, 16, "")
	r.input("other", "1", 0, 16, "")
	in := r.judging(t, map[string][]float64{"t0": all(1)})
	in.budget = 2_000 // of 200,000, which take a hundred times as long
	for _, kind := range []string{`"range":{"unit":"1","max":9}`, `"change":{"unit":"1","max_up":1}`} {
		var out *Judged
		figures(t, kind, func() {
			out = checked(t, in, rule(`{"select":{"signals":["s49"]},`+kind+`}`))
		})
		if out.boxes > 3*in.budget || len(out.Findings) == 0 {
			t.Errorf("%s: %d boxes, %v", kind, out.boxes, out.Findings)
		}
		t.Logf("%d boxes, %d findings", out.boxes, len(out.Findings))
	}
}

// A block of a quarter of a million cells in a thousand slices costs its cells.
func TestALargeBlock(t *testing.T) {
	s := sheet{id: "m", unit: "deg", x: even(0, 100, 16), y: even(0, 100, 16), beyond: []deep{{what: "air Cel", points: even(0, 100, 64)}, {what: "gear 1", points: even(1, 16, 16)}}}
	n := 16 * 16 * 64 * 16
	s.v = make([]float64, n)
	base := s
	s.v = make([]float64, n)
	s.v[n/2] = 9
	in := judging(one(base), one(s))
	for _, text := range []string{`{"range":{"max":5}}`, `{"change":{"max_up":5}}`, `{"lump":{"max":5}}`, `{"envelope":{"side":"max","x":{"quantity":"air","points":[0,50]},"values":[[5,5]]}}`, `{"frozen":{}}`, `{"monotonic":{"of":"axes"}}`} {
		figures(t, fmt.Sprintf("%d cells in %d slices, %s", n, s.slices(), text), func() {
			if out := judged(t, in, rule(text)); len(out.Findings) > 1 || len(out.Unjudged) > 0 {
				t.Errorf("%s: %v %v", text, out.Findings, out.Unjudged)
			}
		})
	}
}
