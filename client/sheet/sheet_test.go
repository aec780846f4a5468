package sheet

import (
	"bytes"
	"strings"
	"testing"

	"charm.land/lipgloss/v2"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/compare"
	"witnessmark/tables/definition"
	"witnessmark/tables/image"
	"witnessmark/tables/limits"
)

const (
	sheetDefinition = `name: bench
byte_order: big
image: {start: 0x0, size: 0x40}
tables:
  - id: ignition.base
    title: Base advance
    quantity: ignition_advance
    unit: deg
    stored: {address: 0x0, type: s8}
    conversion: {factor: 0.75, offset: -24}
    x: {id: rpm, quantity: engine_speed, unit: 1/min, points: [1000, 2000, 3000, 4000, 5000, 6000, 7000, 8000]}
    y: {id: load, quantity: cylinder_filling, unit: "%", points: [50, 100]}
  - {id: lambda, quantity: lambda, unit: "1", stored: {address: 0x20, type: u8}, conversion: {factor: 0.0078125}}
  - {id: fan.mode, quantity: fan_mode, unit: "1", stored: {address: 0x21, type: u8}, conversion: {labels: {0: off, 1: on}}}
`
	sheetLimits = `name: bench-98
rules:
  - {id: ceiling, severity: danger, select: {tables: [ignition.base]}, range: {unit: deg, max: 20}, reason: knock, source: common practice}
`
)

func bench(t *testing.T, change map[int]byte) (*calibrationv1.Report, Options) {
	t.Helper()
	lay, err := definition.Load("bench.yaml", []byte(sheetDefinition))
	if err != nil {
		t.Fatal(err)
	}
	lim, err := limits.Load("limits.yaml", []byte(sheetLimits))
	if err != nil {
		t.Fatal(err)
	}
	base := bytes.Repeat([]byte{48}, 0x40) // 48 * 0.75 - 24 = 12 deg
	base[0x20], base[0x21] = 128, 0
	candidate := bytes.Clone(base)
	for at, v := range change {
		candidate[at] = v
	}
	r, err := compare.Compare(compare.Input{Layout: lay, Limits: lim, Base: image.Whole(0, base), Candidate: image.Whole(0, candidate)})
	if err != nil {
		t.Fatal(err)
	}
	return r, Options{Layout: lay, Base: base, Candidate: candidate}
}

func written(t *testing.T, r *calibrationv1.Report, o Options) string {
	t.Helper()
	var b bytes.Buffer
	if err := Write(&b, r, o); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

// 60 * 0.75 - 24 = 21 deg, one above the ceiling of 20; 44 gives 9; 116/128 is 0.90625.
var changedBytes = map[int]byte{3: 60, 12: 44, 0x20: 116, 0x21: 1}

func TestVerdictStandsBeforeFindingsBeforeTables(t *testing.T) {
	r, o := bench(t, changedBytes)
	text, at := written(t, r, o), -1
	for _, want := range []string{
		"Verdict   DANGER ", "nobody can sign it off", "Not judged", "lambda: ", "Findings", "ceiling:ignition.base  (introduced)",
		"found 21 deg; allowed 20 deg, beyond by 1; at engine speed 4000 1/min, cylinder filling 50 %", "source: common practice",
		"Changed tables", "map, 2 of 16 cells changed, in deg", "12.00→21.00 ▲", "12.00→9.00 ▼", "12 cells outside of this: unchanged",
		"1.000→0.906 ▼", "off→on ◆", "Margins left", "-1 deg", "Bytes 4 differ: 4 in tables and axes",
	} {
		i := strings.Index(text, want)
		if i < 0 {
			t.Fatalf("the sheet lacks %q:\n%s", want, text)
		}
		if i < at {
			t.Errorf("%q stands before what should come first", want)
		}
		at = i
	}
}

func TestNothingSteersTheTerminal(t *testing.T) {
	r, o := bench(t, changedBytes)
	r.Findings[0].Reason = "knock \x1b[2J"
	o.Heading = []string{"note: \x1b]0;title\x07"}
	if text := written(t, r, o); strings.ContainsAny(text, "\x1b\x07") {
		t.Errorf("an escape reaches the output, or colour goes where there is no terminal:\n%q", text)
	}
}

func TestWideMapStaysInsideItsWidth(t *testing.T) {
	r, o := bench(t, map[int]byte{0: 49, 15: 49})
	o.Width = 60
	text, inGrid := written(t, r, o), 0
	for _, line := range strings.Split(text, "\n") {
		if strings.Contains(line, "12.00") || strings.Contains(line, "8000") {
			inGrid++
			if w := lipgloss.Width(line); w > 60 {
				t.Errorf("%d columns wide: %q", w, line)
			}
		}
	}
	if inGrid < 6 {
		t.Errorf("the grid did not break into blocks:\n%s", text)
	}
}

func TestOneTableWhole(t *testing.T) {
	r, o := bench(t, changedBytes)
	o.Table = "ignition.base"
	text := written(t, r, o)
	if n := strings.Count(text, "12.00"); n != 16 {
		t.Errorf("12.00 stands %d times, want in all 16 cells:\n%s", n, text)
	}
	if strings.Contains(text, "off→on") {
		t.Error("another table is shown too")
	}
}

func TestDifferenceOfTwoRevisions(t *testing.T) {
	var b bytes.Buffer
	old := "a: 1\nb: 2\nc: 3\nd: 4\ne: 5\nf: 6\n"
	if err := WriteDifference(&b, "x revision 1", "x revision 2", old, strings.Replace(old, "f: 6", "f: 7", 1)); err != nil {
		t.Fatal(err)
	}
	if got, want := b.String(), "− x revision 1\n+ x revision 2\n  … 3 lines as before\n  d: 4\n  e: 5\n− f: 6\n+ f: 7\n"; got != want {
		t.Errorf("got\n%swant\n%s", got, want)
	}
	b.Reset()
	if err := WriteDifference(&b, "x", "y", old, old); err != nil || b.String() != "x and y say the same\n" {
		t.Errorf("of equal texts: %q, %v", b.String(), err)
	}
}

// What no rule is to blame for names none.
func TestUnjudgedWithoutARule(t *testing.T) {
	text := written(t, &calibrationv1.Report{Verdict: "clear", Unjudged: []*calibrationv1.Unjudged{
		{Table: "gone", Reason: "only the base has it"}, {Rule: "r", Table: "a", Reason: "labels"}}}, Options{})
	for _, want := range []string{"\n  gone: only the base has it\n", "\n  a by r: labels\n"} {
		if !strings.Contains(text, want) {
			t.Errorf("no %q in\n%s", want, text)
		}
	}
}

func TestOnePersonWorkshopIsSaid(t *testing.T) {
	r, o := bench(t, map[int]byte{0: 49})
	if text := written(t, r, o); !strings.Contains(text, "a calibrator or lead other than its author may sign it off") {
		t.Errorf("of a workshop of several:\n%s", text)
	}
	o.OnePerson = true
	if text := written(t, r, o); !strings.Contains(text, "its author too, with a reason") || strings.Contains(text, "other than") {
		t.Errorf("of one person:\n%s", text)
	}
}

// Found against written is no submission: nothing is judged, and every byte is told.
func TestDifferingHasNoVerdict(t *testing.T) {
	r, o := bench(t, changedBytes)
	o.Heading = []string{"1.2: differs"}
	var b bytes.Buffer
	if err := WriteDiffering(&b, r, "what was written", "what was found", o); err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{"1.2: differs\n3 tables differ, in 4 cells; 4 bytes differ\nwhat was written  sha256 ", "\nwhat was found    sha256 ", "12.00→21.00 ▲", "off→on ◆",
		"Bytes 4 differ: 4 in tables and axes", "across: engine speed in 1/min; down: cylinder filling in %\n"} {
		if !strings.Contains(b.String(), want) {
			t.Errorf("it lacks %q:\n%s", want, b.String())
		}
	}
	for _, never := range []string{"Verdict", "DANGER", "Findings", "Margins", "judged", "sign it off", "limits"} {
		if strings.Contains(b.String(), never) {
			t.Errorf("it says %q:\n%s", never, b.String())
		}
	}
	b.Reset()
	r, o = bench(t, map[int]byte{0x30: 1})
	if err := WriteDiffering(&b, r, "a", "b", o); err != nil || !strings.HasPrefix(b.String(), "no table differs; 1 byte differs\n") {
		t.Errorf("%v:\n%s", err, b.String())
	}
}

// A value between two steps is told to a tenth of one, and what is not zero does not look like zero.
func TestNumbersBetweenSteps(t *testing.T) {
	for _, c := range []struct {
		step, v float64
		want    string
	}{{0.5, 22.5477, "22.55"}, {0.5, 22, "22"}, {1, 1.96074, "2"}, {1, 17.6667, "17.7"}, {0.0078125, 1.96074, "1.9607"}, {100, 1234.567, "1234.6"},
		{0.5, 0.0012345678, "0.00123457"}, {0.5, -0.004, "-0.004"}, {0.5, 0, "0"}, {0.5, -4.3333, "-4.33"}} {
		if got := digits(c.step).near(c.v); got != c.want {
			t.Errorf("%v of steps of %v: %s, want %s", c.v, c.step, got, c.want)
		}
	}
	for v, want := range map[float64]string{5000: "5000", 3117.1875: "3117.2", 0.9375: "0.9375", 123456: "123456", -20: "-20"} {
		if got := place(v); got != want {
			t.Errorf("%v is placed at %s, want %s", v, got, want)
		}
	}
}
