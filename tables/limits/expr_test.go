package limits

import (
	"strings"
	"testing"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
)

// soft is a curve, hard a scalar, map2 a map, sw labels.
func exprSheets(softTop, hard float64) []sheet {
	return []sheet{
		{id: "soft", unit: "1/min", x: []float64{0, 10, 20}, v: []float64{6000, 6400, softTop}},
		{id: "hard", unit: "1/min", v: []float64{hard}},
		{id: "map2", unit: "deg", x: []float64{0, 10}, y: []float64{0, 100}, v: []float64{1, 3, 5, 11}},
		{id: "sw", v: []float64{2}, labels: map[int64]string{2: "on"}},
		{id: "gears", unit: "deg", x: []float64{1, 2}, index: true, v: []float64{1, 2}},
	}
}

func exprRule(text string) *calibrationv1.Rule {
	return &calibrationv1.Rule{Id: "own", Severity: "warning", Select: &calibrationv1.Select{Tables: []string{"soft"}}, Kind: &calibrationv1.Rule_Expression{Expression: text}}
}

// Answers worked out by hand: soft is 6000, 6400, 6800 over 0, 10, 20; map2 is 1 3 over 5 11.
func TestExpressionFunctions(t *testing.T) {
	for text, want := range map[string]bool{
		`table('soft').max() == 6800.0`:                                 true,
		`table('soft').min() == 6000.0`:                                 true,
		`table('hard').value() == 7000.0`:                               true,
		`table('soft').at(5) == 6200.0`:                                 true,  // half way from 6000 to 6400
		`table('soft').at(12.5) == 6500.0`:                              true,  // a quarter from 6400 to 6800
		`table('soft').at(-5) == 6000.0`:                                true,  // held
		`table('soft').at(99) == 6800.0`:                                true,  // held
		`table('map2').at(5, 50) == 5.0`:                                true,  // rows at 5: 2 and 8; half way 5
		`table('map2').at(2.5, 25) == 2.75`:                             true,  // rows 1.5 and 6.5; a quarter of the way 2.75
		`table('map2').at(10, 100) == 11.0`:                             true,  //
		`table('soft').max() < table('hard').value()`:                   true,  // 6800 < 7000
		`table('soft').max() < 6800`:                                    false, // a whole number may be compared with
		`table('soft').max() <= base('soft').max() + 400.0`:             true,  // the base's is 6400
		`table('soft').max() <= base('soft').max() + 399.0`:             false,
		`table('sw').value() == 2.0`:                                    true, // raw
		`table('soft').x_max() == 20.0 && table('soft').x_min() == 0.0`: true,
		`table('map2').x_max() == 10.0 && table('map2').y_max() == 100.0 && table('map2').y_min() < 1.0`: true,
		`table('gears').x_max() == base('gears').x_max()`:                                                true,
		`table('soft').x_max() > table('hard').value()`:                                                  false, // 20 and 7000
		`job.power > 200.0`:                                       true,
		`!has(job.torque) || job.torque < 1.0`:                    true,
		`table('gears').max() == 2.0`:                             true,
		`[0, 5, 10].all(x, table('soft').at(x) >= 6000.0)`:        true,
		`table('soft').max() / table('hard').value() < 0.9714286`: true, // 0.97142857…
	} {
		in := judging(exprSheets(6400, 7000), exprSheets(6800, 7000))
		in.Job = &calibrationv1.JobFacts{Numbers: map[string]float64{"power": 210}}
		out := judged(t, in, exprRule(text))
		if got := len(out.Findings) == 0; got != want {
			t.Errorf("%s: %v, want %v (%v)", text, got, want, out.Findings)
		}
	}
}

func TestExpressionOrigins(t *testing.T) {
	const text = `table('soft').max() < table('hard').min()`
	for _, c := range []struct {
		name       string
		base, cand []sheet
		want       string
	}{
		{"introduced", exprSheets(6800, 7000), exprSheets(7100, 7000), "soft introduced 1x"},
		{"inherited", exprSheets(7200, 7000), exprSheets(7100, 7000), "soft inherited 1x"},
		{"clear", exprSheets(7200, 7000), exprSheets(6900, 7000), ""},
		{"check", nil, exprSheets(7100, 7000), "soft  1x"},
		{"no number", exprSheets(6800, 7000), exprSheets(nan, 7000), "soft introduced 1x"},
	} {
		out := judged(t, judging(c.base, c.cand), exprRule(text))
		if got := sayAll(out.Findings); got != c.want {
			t.Errorf("%s: got %q, want %q", c.name, got, c.want)
		}
		if by := out.JudgedBy; len(by["soft"]) != 1 || len(by["hard"]) != 1 || len(by["map2"]) != 0 {
			t.Errorf("%s: judged by %v", c.name, by)
		}
	}
	// Turning a comparison round lets no NaN through.
	out := judged(t, judging(nil, exprSheets(nan, 7000)), exprRule(`!(table('soft').max() > 7000.0)`))
	if len(out.Findings) != 1 || !strings.Contains(out.Findings[0].Detail, "no number") {
		t.Errorf("NaN passed: %v", out.Findings)
	}
}

// What goes wrong at run time is a danger of its own, and the other rules still stand.
func TestExpressionErrors(t *testing.T) {
	for text, want := range map[string]string{
		`table('nowhere').max() < 1.0`:       "no table \"nowhere\"",
		`table('soft').y_max() < 1.0`:        "soft has no y axis",
		`table('hard').x_min() < 1.0`:        "hard has no x axis",
		`table('soft').value() < 1.0`:        "value() is for a scalar",
		`table('soft').at(1, 2) < 1.0`:       "has 1 of them, not 2",
		`table('sw').at(1) < 1.0`:            "labels",
		`table('gears').at(1) < 1.0`:         "index axis",
		`job.power > 1.0`:                    "power",
		`table('soft') == table('hard')`:     "not compared as such",
		`table('s' + 'oft').value() < 100.0`: "value() is for a scalar",
		`[1,2,3,4,5,6,7,8,9,10].all(a, [1,2,3,4,5,6,7,8,9,10].all(b, [1,2,3,4,5,6,7,8,9,10].all(c, [1,2,3,4,5,6,7,8,9,10].all(d, [1,2,3,4,5,6,7,8,9,10].all(e, a + b + c + d + e > 0)))))`: "cost limit",
	} {
		out := judged(t, judging(exprSheets(1, 2), exprSheets(1, 2)), exprRule(text), rule(`{"range":{"max":100000}}`))
		if len(out.Findings) != 1 || out.Findings[0].Rule != "rule-error" || out.Findings[0].Severity != "danger" || out.Findings[0].Table != "soft" {
			t.Errorf("%s: %v", text, out.Findings)
			continue
		}
		if d := out.Findings[0].Detail; !strings.Contains(d, want) || !strings.Contains(d, "rule own") {
			t.Errorf("%s: %s, want %q", text, d, want)
		}
	}
	out := judged(t, judging(nil, exprSheets(1, 2)), exprRule(`table('soft').max() <= base('soft').max()`))
	if len(out.Findings) != 0 || len(out.Unjudged) != 1 {
		t.Errorf("a check has no base: %v %v", out.Findings, out.Unjudged)
	}
}

func TestExpressionsAreCheckedWithTheDefinition(t *testing.T) {
	lay := judging(nil, exprSheets(1, 2)).Layout
	for text, want := range map[string]string{
		`table('soft').max() < table('hard').min()`: "",
		`table('soft').max() < tabel('hard').min()`: "1:28: undeclared reference to 'tabel'",
		"true &&\n  table('soft').max() <":          "2:",
		`table('nowhere').max() < 1.0`:              `1:6: the definition has no table "nowhere"`,
		`table('hard').x_max() < 1.0`:               "1:20: hard has no x axis, whose end x_max() is",
		`table('soft').x_max(1) < 1.0`:              "found no matching overload for 'x_max'",
		`table('soft').max()`:                       "it gives double",
		`table('soft').max() * 2 < 1.0`:             "no matching overload",
		`table('soft').value() < 1.0`:               "value() is for a scalar",
		`table('map2').at(1) < 1.0`:                 "has 2 of them, not 1",
		`base('sw').at() < 1.0`:                     "no matching overload",
	} {
		err := (&Limits{Source: &calibrationv1.Limits{Rules: []*calibrationv1.Rule{exprRule(text)}}}).Check(lay)
		if want == "" {
			if err != nil {
				t.Errorf("%s: %v", text, err)
			}
			continue
		}
		if err == nil || !strings.Contains(err.Error(), want) || !strings.Contains(err.Error(), "rule own") {
			t.Errorf("%s: %v, want %q", text, err, want)
		}
	}
}

// A job's numbers are of the car as it is now: what they break is never the base's, though the
// base would break it too.
func TestExpressionOnTheJobIsNeverInherited(t *testing.T) {
	for text, want := range map[string]string{
		`job.rotor_speed_max < 14000.0`:                                      "introduced",
		`has(job.rotor_speed_max) && job.rotor_speed_max < 14000.0`:          "introduced",
		`table('soft').max() * 180.0 / 75.0 < job.rotor_speed_limit`:         "introduced",
		`job["rotor_speed_max"] < 14000.0 && table('soft').max() < 100000.0`: "introduced",
		`table('soft').max() < 100.0`:                                        "inherited",
	} {
		in := judging(exprSheets(6800, 7000), exprSheets(6800, 7000))
		in.Job = &calibrationv1.JobFacts{Numbers: map[string]float64{"rotor_speed_max": 15600, "rotor_speed_limit": 14000}}
		out := judged(t, in, exprRule(text))
		if len(out.Findings) != 1 || out.Findings[0].Origin != want || out.Findings[0].Rule == "rule-error" {
			t.Errorf("%s: %v, want %s", text, out.Findings, want)
		}
	}
}
