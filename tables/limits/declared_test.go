package limits

import "testing"

// What only repeats the definition's own bounds judges, and does not count as having looked.
func TestDeclaredRulesDoNotCount(t *testing.T) {
	cand := sheet{id: "m", unit: "deg", x: []float64{0, 1}, v: []float64{5, 9}}
	declared, own := `{"id":"declared","declared":true,"range":{"max":8}}`, `{"id":"own","select":{"tables":["m"]},"range":{"max":20}}`
	for _, c := range []struct {
		rules  []string
		looked bool
	}{{[]string{declared}, false}, {[]string{declared, own}, true}, {[]string{own}, true}, {nil, false}} {
		in := judging(one(cand), one(cand))
		all := limitsOf()
		for _, text := range c.rules {
			all.Source.Rules = append(all.Source.Rules, rule(text))
		}
		out, err := Judge(all, in)
		if err != nil {
			t.Fatal(err)
		}
		if len(c.rules) > 0 && c.rules[0] == declared && (len(out.Findings) != 1 || out.Findings[0].Rule != "declared" || len(out.JudgedBy["m"]) != len(c.rules)) {
			t.Errorf("%v: it must judge: %v %v", c.rules, out.Findings, out.JudgedBy)
		}
		if out.Looked(out.JudgedBy["m"]) != c.looked {
			t.Errorf("%v: looked %v", c.rules, out.Looked(out.JudgedBy["m"]))
		}
	}
}

// What was said of one layout is not said of another one.
func TestCheckRemembersOneLayout(t *testing.T) {
	l := limitsOf(rule(`{"select":{"tables":["m"]},"range":{"unit":"deg","max":8}}`))
	has := judging(nil, one(sheet{id: "m", quantity: "q", unit: "deg", v: []float64{5}})).Layout
	lacks := judging(nil, one(sheet{id: "o", quantity: "q", unit: "deg", v: []float64{5}})).Layout
	for range 2 {
		if err := l.Check(has); err != nil {
			t.Error(err)
		}
		for range 2 {
			if l.Check(lacks) == nil {
				t.Error("it fits a definition without the table")
			}
		}
	}
}
