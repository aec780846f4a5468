package formula

import (
	"fmt"
	"strconv"
	"strings"
	"testing"
)

var names = map[Kind]string{Add: "+", Sub: "-", Mul: "*", Div: "/", Neg: "neg", Min: "min", Max: "max", Choose: "choose",
	Less: "<", LessEqual: "<=", Greater: ">", GreaterEqual: ">=", Equal: "==", NotEqual: "!=", And: "and", Or: "or", Not: "not",
	Input: "input", Table: "table", Signal: "signal"}

// written is a tree with its brackets.
func written(n *Node) string {
	switch n.Kind {
	case Number:
		return strconv.FormatFloat(n.Value, 'g', -1, 64)
	case Input, Table, Signal:
		return names[n.Kind] + ":" + n.Name
	}
	out := "(" + names[n.Kind]
	for _, a := range n.Args {
		out += " " + written(a)
	}
	return out + ")"
}

// How operators bind is what CEL's language definition says (github.com/google/cel-spec, doc/langdef.md, "Syntax").
func TestTrees(t *testing.T) {
	for text, want := range map[string]string{
		"1250":                                  "1250",
		"-20.5 + 3":                             "(+ -20.5 3)",
		"--1":                                   "1",
		"-table('a')":                           "(neg table:a)",
		"1 - 2 - 3":                             "(- (- 1 2) 3)",
		"1 + 2 * 3 / 4":                         "(+ 1 (/ (* 2 3) 4))",
		"(1 + 2) * 3":                           "(* (+ 1 2) 3)",
		"0x10 * 1e2":                            "(* 16 100)",
		`input("n") * table('t')`:               "(* input:n table:t)",
		"min(1, 2, signal('s'))":                "(min 1 2 signal:s)",
		"clamp(input('a'), 0, 9)":               "(min (max input:a 0) 9)",
		"0" + strings.Repeat(" + 1", 200):       strings.Repeat("(+ ", 200) + "0" + strings.Repeat(" 1)", 200),
		"1 < 2 ? 3 : 4 >= 5 ? 6 : 7":            "(choose (< 1 2) 3 (choose (>= 4 5) 6 7))",
		"!(1 == 2) && 3 != 4 || 5 <= 6 ? 1 : 0": "(choose (or (and (not (== 1 2)) (!= 3 4)) (<= 5 6)) 1 0)",
		"(table('fuel.grade') == 1.0 ? table('a.98') : table('a')) + table('b')": "(+ (choose (== table:fuel.grade 1) table:a.98 table:a) table:b)",
	} {
		n, err := Parse(text)
		if err != nil {
			t.Errorf("%s: %v", text, err)
			continue
		}
		if got := written(n); got != want {
			t.Errorf("%s is read as %s, want %s", text, got, want)
		}
	}
}

func TestRefusals(t *testing.T) {
	for _, c := range []struct{ text, want string }{
		{"", "1:1: mismatched input end; allowed: numbers, + - * /"},
		{"1 +", "1:4: mismatched input end"},
		{"1 + + 2", "1:5: "},
		{"'", "1:1: token recognition error"},
		{"foo", `1:1: "foo" is no number; allowed: numbers, + - * /, comparisons`},
		{"table('é') + foo", `1:14: "foo" is no number`},
		{"1 +\n  foo", `2:3: "foo" is no number`},
		{"true ? 1 : 2", "1:1: this is no number"},
		{"1 % 2", `1:3: "%" is not known`},
		{"1 in [2] ? 1 : 2", `1:3: "in" is not known`},
		{"2 * foo (1)", `1:5: "foo" is not known`},
		{"has(a.b)", `1:1: "has" is not known`},
		{"[1]", "1:1: this is no arithmetic"},
		{"a.b", "1:2: this is no arithmetic"},
		{"{'a': 1}", "1:1: this is no arithmetic"},
		{"1e999", "1:1: invalid double literal"},
		{"1u", "1:1: this is no number"},
		{"1 + 'a'", "1:5: a text stands where a number is wanted"},
		{"2 * table(a)", "1:5: table takes one name in quotes"},
		{"input()", "1:1: input takes one name in quotes"},
		{"signal('a', 'b')", "1:1: signal takes one name in quotes"},
		{"x.min(1, 2)", `"min" is called on something`},
		{"min(1)", "1:1: min takes 2 numbers or more, not 1"},
		{"2 + clamp(1, 2)", "1:5: clamp takes 3 numbers or more, not 2"},
		{"clamp(1, 2, 3, 4)", "1:1: clamp takes 3 numbers, not 4"},
		{"1 < 2", "1:3: a condition stands where a number is wanted; allowed: condition ? number : number"},
		{"(1 < 2) + 1", "1:4: a condition stands"},
		{"1 == 2 == 3 ? 1 : 0", "1:3: a condition stands"},
		{"table('a') ? 1 : 2", "1:7: a number stands where a condition is wanted; allowed: a comparison"},
		{"!1 ? 2 : 3", "1:2: a number stands"},
		{"1 < 2 && 3 ? 2 : 3", "1:10: a number stands"},
		{"1 < 2 ? 3 < 4 : 5", "1:11: a condition stands"},
		{strings.Repeat("(", 300) + "1" + strings.Repeat(")", 300), "expression recursion limit exceeded: 250; allowed: 10000 characters, 1000 numbers"},
		{"1" + strings.Repeat("+1", 6000), "code point size exceeds limit: size: 12001, limit 10000; allowed: 10000 characters"},
		{"1" + strings.Repeat("+1", 400), "max recursion depth exceeded; allowed: 10000 characters"},
		{"min(1" + strings.Repeat(", 2", 1200) + ")", "1:3002: the expression is too large; allowed: 10000 characters, 1000 numbers, names and operators"},
	} {
		_, err := Parse(c.text)
		if err == nil || !strings.Contains(err.Error(), c.want) || strings.Contains(err.Error(), "\n") {
			t.Errorf("%.60s:\n%v\nwant %q", c.text, err, c.want)
		}
	}
}

// FuzzParse: no text makes it panic, and what is accepted is small and made of numbers where numbers belong.
func FuzzParse(f *testing.F) {
	for _, s := range []string{"1+2*3", "clamp(input('a'),-1,2.5)", "1<2?table('a'):signal('b')", "!(1>2)&&3==4?1:0", "min(1", "'", "\\", "1 ? 2 : 3", "a.b(1)[2]{c:3}", "[1].all(x, x>0)"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, text string) {
		n, err := Parse(text)
		if err != nil {
			if strings.Contains(err.Error(), "\n") && !strings.Contains(text, "\n") {
				t.Fatalf("%q has more than one line", err)
			}
			return
		}
		count := 0
		_ = n.Walk(func(n *Node) error {
			if count++; count > 2*maxNodes {
				t.Fatalf("%q: more than %d nodes", text, maxNodes)
			}
			for i, a := range n.Args {
				logic := n.Kind == And || n.Kind == Or || n.Kind == Not || n.Kind == Choose && i == 0
				if a.Kind.Condition() != logic {
					t.Fatalf("%q: %s in %s", text, written(a), written(n))
				}
			}
			if n.At.Line < 1 || n.At.Column < 1 {
				t.Fatal(fmt.Sprint(text, n.At))
			}
			return nil
		})
	})
}
