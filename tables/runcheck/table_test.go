package runcheck

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"witnessmark/tables/definition"
	"witnessmark/tables/image"
	"witnessmark/tables/limits"
	"witnessmark/tables/run"
)

// small is a controller of one curve, whose axis falls: at 1000, 2000 and 3000 1/min it holds 100, 110 and 120 kPa.
const small = `name: small
byte_order: big
image: {start: 0x100, size: 4}
tables:
  - id: boost
    quantity: manifold_pressure
    role: target
    unit: kPa
    stored: {address: 0x100, type: u8}
    x: {quantity: engine_speed, unit: 1/min, points: [3000, 2000, 1000]}
    observed: {channel: manifold_pressure}
`

const smallLimits = `name: l
rules:
  - {id: ceiling, severity: warning, select: {tables: [boost]}, where: {engine_speed: {from: 1500, unit: 1/min}}, range: {unit: bar, max: 1.05}, reason: "It surges\n  above.", source: test}
`

func smallCheck(t *testing.T, file string, lacks ...image.Range) *Result {
	t.Helper()
	lay, err := definition.Load("d.yaml", []byte(small))
	if err != nil {
		t.Fatal(err)
	}
	lim, err := limits.Load("l.yaml", []byte(smallLimits))
	if err != nil {
		t.Fatal(err)
	}
	r, err := run.Read("r.csv", strings.NewReader(file), nil)
	if err != nil {
		t.Fatal(err)
	}
	im := image.Whole(0x100, []byte{120, 110, 100, 0})
	im.Held = image.Minus(im.Held, lacks)
	out, err := Check(Input{Run: r, SHA256: "f", Image: im, Layout: lay, Limits: lim})
	if err != nil {
		t.Fatal(err)
	}
	for _, s := range out.Sides {
		for _, v := range []float64{s.Mean, s.Rms, s.Delay} {
			if math.IsNaN(v) || math.IsInf(v, 0) {
				t.Errorf("%v", s)
			}
		}
	}
	return out
}

func smallRun(header string, rows int, row func(i int) string) string {
	var b strings.Builder
	b.WriteString("time [s]," + header + "\n")
	for i := range rows {
		fmt.Fprintf(&b, "%.2f,%s\n", float64(i)/20, row(i))
	}
	return b.String()
}

// A table that no signal looks up is held against the run along its own axes; by hand: at 1250 1/min it asks for 102.5 kPa.
func TestATableByItself(t *testing.T) {
	out := smallCheck(t, smallRun("engine_speed [1/min],manifold_pressure [bar]", 40, func(int) string { return "1250,1.055" }))
	if len(out.Findings) != 0 {
		t.Errorf("%v", out.Findings) // 3 kPa are within what is tolerated, and the limit begins at 1500 1/min
	}
	s := out.Sides[0]
	if s.Table != "boost" || s.Unit != "kPa" || s.Samples != 40 || math.Abs(s.Mean-3) > 1e-4 || math.Abs(s.Worst.Commanded-102.5) > 1e-4 || s.Worst.Inputs["engine_speed"] != 1250 {
		t.Errorf("%v", s)
	}
	out = smallCheck(t, smallRun("engine_speed [1/min],manifold_pressure [bar]", 40, func(int) string { return "2900,1.35" }))
	if got := kinds(out); got != "over-target/warning/boost limit/warning/boost" {
		t.Errorf("%s: %v", got, out.Findings)
	}
	for _, f := range out.Findings {
		if !strings.Contains(f.Text, "in the cell engine speed 3000 of boost") || strings.Contains(f.Text, "\n") {
			t.Errorf("%q", f.Text)
		}
	}
}

// What cannot be told is said, and nothing breaks.
func TestRunsThatTellLittle(t *testing.T) {
	for _, tt := range []struct {
		name, file, left string
		lacks            []image.Range
	}{
		{"no such channel", smallRun("engine_speed [1/min],torque [N.m]", 9, func(i int) string { return "2000,100" }), "boost is not held against the run: the run has no channel of manifold_pressure", nil},
		{"no axis", smallRun("throttle [%],manifold_pressure [kPa]", 9, func(i int) string { return "100,110" }), "the run has no channel of engine_speed", nil},
		{"gauge without a barometer", smallRun("engine_speed [1/min],manifold_pressure [kPa{gauge}]", 9, func(i int) string { return "2000,10" }), "gauge and the other absolute", nil},
		{"a hole in the image", smallRun("engine_speed [1/min],manifold_pressure [kPa]", 9, func(i int) string { return "2000,110" }), "the image does not hold table boost", []image.Range{{Start: 0x101, End: 0x102}}},
		{"two rows", smallRun("engine_speed [1/min],manifold_pressure [kPa]", 2, func(i int) string { return "2000,110" }), "", nil},
		{"wild numbers", smallRun("engine_speed [1/min],manifold_pressure [kPa]", 9, func(i int) string { return []string{"2000,1e30", "-1e30,110", "0,0"}[i%3] }), "", nil},
		{"a channel with a long gap", smallRun("engine_speed [1/min],manifold_pressure [kPa]", 200, func(i int) string {
			if i > 20 && i < 180 {
				return "2000,"
			}
			return "2000,110"
		}), "", nil},
	} {
		out := smallCheck(t, tt.file, tt.lacks...)
		if all := strings.Join(out.LeftOut, "\n"); tt.left == "" && strings.Contains(all, "boost") || !strings.Contains(all, tt.left) {
			t.Errorf("%s: left out %q, want %q", tt.name, all, tt.left)
		}
		if (out.Sides[0].Samples > 0) != (tt.left == "") {
			t.Errorf("%s: %v", tt.name, out.Sides[0])
		}
		if tt.name == "a channel with a long gap" && out.Sides[0].Samples != 41 {
			t.Errorf("%s: %d samples, of which 41 have a value", tt.name, out.Sides[0].Samples)
		}
	}
}

// By hand: a delay of 0.3 s of a channel that is also scaled and shifted, on a drive that turns back and forth.
func TestDelay(t *testing.T) {
	for _, tt := range []struct{ delay, want float64 }{{0, 0}, {0.3, 0.3}, {-0.2, -0.2}, {0.123, 0.123}} {
		var time []float64
		var commanded, logged []float32
		at := func(t float64) float64 { return math.Sin(t) + 0.4*math.Sin(3.1*t) }
		for i := range 1000 {
			now := float64(i) / 50
			time, commanded, logged = append(time, now), append(commanded, float32(at(now))), append(logged, float32(3+0.5*at(now-tt.delay)))
		}
		if got := delay(time, commanded, logged); math.Abs(got-tt.want) > 0.005 {
			t.Errorf("a delay of %v s is told as %v", tt.delay, got)
		}
		still := make([]float32, 1000)
		if got := delay(time, commanded, still); got != 0 {
			t.Errorf("nothing moves, and the delay is %v", got)
		}
	}
}
